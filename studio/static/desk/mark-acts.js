// The actions on marks beyond the one at hand: by hand, by kind, by another tolerance; the target,
// and the words of the phrase shelf.

import { decimal, place } from "../figures.js";

/** The actions by name, a part of the table in acts.js. */
export const MARK_ACTS = {
  "mark-here": (desk) => {
    desk.player.pause();
    const form = opened(desk, "add-mark")?.querySelector("form");
    if (!form) return;
    fillSpan(form, spanHere(desk));
    form.elements.words.focus();
  },
  "use-span": ({ picture, say, root }) => {
    const form = document.activeElement?.closest?.("form");
    if (!form || !root.contains(form)) return undefined;
    if (!picture.span) return say("Select a span in the picture first: drag over it.");
    return fillSpan(form, picture.span);
  },
  target: async (desk) => {
    const event = desk.ledger.eventHere(desk.player.seconds);
    if (event === null) return desk.say("No double stop here. Choose a row, then press again.");
    const { hearTarget } = await import("./target.js");
    return hearTarget(desk, event);
  },
  phrases: async (desk) => {
    const { player, ledger, composer } = desk;
    player.pause();
    const mark = ledger.mark(composer.moment ?? player.seconds);
    const at = composer.moment ?? (mark ? Number(mark.dataset.start) : player.seconds);
    if (composer.moment === null) composer.open(at);
    const { offerPhrases } = await import("./phrases.js");
    return offerPhrases(desk, at, mark?.dataset.mark ?? null);
  },
  "drill-here": async (desk, pressed) => {
    const address = pressed?.href ?? placeHere(desk);
    if (!address) return desk.say("Go to a mark, select a span or choose a note of the page first.");
    desk.player.pause();
    const { offerDrills } = await import("./from-here.js");
    return offerDrills(desk, address);
  },
  kinds: (desk) => {
    if (desk.root.querySelector("#kinds")?.hidden) return desk.say("There are no marks.");
    return opened(desk, "kinds")?.querySelector("button, summary").focus();
  },
  tolerance: (desk) => opened(desk, "tolerance")?.querySelector("input:not([type='hidden'])").focus(),
};

/** Where to look for drills: the mark or the note with the focus, the span, the mark here. */
function placeHere({ picture, player, ledger, root }) {
  const held = document.activeElement;
  const mark = held?.closest?.("[data-mark]") ?? ledger.mark(player.seconds);
  const link = mark?.querySelector("a[data-act='drill-here']")?.href ?? null;
  if (link && held?.closest?.(".block")) return link;
  const [start, end] = picture.span ?? [];
  const note = held?.closest?.(".desk-score .written")?.dataset.ref;
  let here = picture.span ? { start_s: decimal(start, 2), end_s: decimal(end, 2) } : null;
  if (note) here = { note };
  return here ? `${root.dataset.fromHere}?${new URLSearchParams(here)}` : link;
}

function opened({ root }, id) {
  const details = root.querySelector(`#${id}`);
  if (!details) return null;
  details.open = true;
  details.scrollIntoView({ block: "nearest" });
  return details;
}

/** The selected span, the row that has the focus, or a second about the play head. */
function spanHere({ picture, player, root }) {
  if (picture.span) return picture.span;
  const row = document.activeElement?.closest?.("[data-row][data-event]");
  if (row && root.contains(row)) return [Number(row.dataset.start), Number(row.dataset.end)];
  const half = 0.5;
  const last = Number(root.dataset.duration) || player.seconds + half;
  return [Math.max(player.seconds - half, 0), Math.min(player.seconds + half, last)];
}

function fillSpan(form, [start, end]) {
  form.elements.start_s.value = place(start, 2);
  form.elements.end_s.value = place(end, 2);
  form.elements.end_s.dispatchEvent(new Event("input", { bubbles: true }));
}
