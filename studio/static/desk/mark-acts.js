// The actions on marks: go to one, decide, take back, edit; by hand, by kind, by another tolerance; the
// target, and the words of the phrase shelf.

import { gettext, ngettext } from "../translation.js";
import { goOn, nextBegins } from "./mark-order.js";
import { openMarks } from "./state.js";
import { decimal, place } from "../figures.js";

export const LEAD_IN_S = 0.5; // a row plays from just before it

/** The actions by name, a part of the table in acts.js. */
export const MARK_ACTS = {
  "next-mark": (desk) => toMark(desk, 1),
  "previous-mark": (desk) => toMark(desk, -1),
  keep: (desk, button) => decide(desk, "kept", button),
  drop: (desk, button) => decide(desk, "dropped", button),
  "keep-rest": keepRest,
  undo,
  edit,
  "mark-here": (desk) => overHere(desk, "add-mark", "words"),
  "bar-here": (desk) => overHere(desk, "pins", "bar"),
  "use-span": ({ picture, say, root }) => {
    const form = document.activeElement?.closest?.("form");
    if (!form || !root.contains(form)) return undefined;
    if (!picture.span) return say(gettext("Select a span in the picture first: drag over it."));
    return fillSpan(form, picture.span);
  },
  target: async (desk) => {
    const event = desk.ledger.eventHere(desk.player.seconds);
    if (event === null) return desk.say(gettext("No double stop here. Choose a row, then press again."));
    const { hearTarget } = await import("./target.js");
    return hearTarget(desk, event);
  },
  phrases: async (desk) => {
    const { player, ledger, composer } = desk;
    player.pause();
    const { mark } = ledger;
    const at = composer.moment ?? (mark ? Number(mark.dataset.start) : player.seconds);
    if (composer.moment === null) composer.open(at);
    const { offerPhrases } = await import("./phrases.js");
    return offerPhrases(desk, at, mark?.dataset.mark ?? null);
  },
  "drill-here": async (desk, pressed) => {
    const address = pressed?.href ?? placeHere(desk);
    if (!address) return desk.say(gettext("Go to a mark, select a span or choose a note of the page first."));
    desk.player.pause();
    const { offerDrills } = await import("./from-here.js");
    return offerDrills(desk, address);
  },
  kinds: (desk) => {
    if (desk.root.querySelector("#kinds")?.hidden) return desk.say(gettext("There are no marks."));
    return desk.panels.openOver("kinds")?.querySelector("button, a").focus({ preventScroll: true });
  },
  tolerance: ({ panels }) => {
    const field = panels.openOver("tolerance")?.querySelector("input:not([type='hidden'])");
    field?.focus({ preventScroll: true });
  },
};

/** To the mark before or after, and hear it; one that the page itself has gone to is the next. */
function toMark(desk, by) {
  const { ledger, player, picture, exchange, say } = desk;
  const mark = by > 0 && exchange.state.fresh ? ledger.mark : ledger.markFrom(by, player.seconds);
  if (!mark) return say(by > 0 ? gettext("No mark after this one.") : gettext("No mark before this one."));
  ledger.goTo(mark);
  exchange.heard();
  const start = Number(mark.dataset.start);
  picture.reveal(start, Number(mark.dataset.end));
  return player.playFrom(Math.max(start - LEAD_IN_S, 0), nextBegins(ledger, mark));
}

const SO_ALREADY = {
  kept: (key) => gettext("This mark is kept. %(key)s takes back the last decision.", { key }),
  dropped: (key) => gettext("This mark is dropped. %(key)s takes back the last decision.", { key }),
};
const noMark = (keyOf) => gettext("No mark is selected. %(key)s goes to the next one.", { key: keyOf("next-mark") });

/** About the selected mark, whatever sounds by now. */
function decide(desk, choice, button) {
  const { ledger, exchange, say, keyOf } = desk;
  const { mark } = ledger;
  if (!mark) return say(noMark(keyOf));
  if (!mark.querySelector("[data-decide]")) return say(gettext("This mark was made by hand; it can be edited or deleted."));
  if (!exchange.decide(mark, choice)) return say(SO_ALREADY[choice](keyOf("undo")));
  say(choice === "kept" ? gettext("Kept.") : gettext("Dropped."));
  return goOn(desk, !button?.matches("[data-decide]"));
}

/** Every mark that is still to be decided; the last decision takes it back as one. */
function keepRest({ root, exchange, say }, button) {
  if (button) return undefined; // the form's own button sends it
  const { length: open } = openMarks(exchange.state);
  if (!open) return say(gettext("No mark is left to decide."));
  const form = root.querySelector("#keep-rest");
  form.requestSubmit(form.querySelector("button"));
  return say(ngettext("%(count)s kept.", "%(count)s kept.", open));
}

/** The last decision; what is taken back comes into sight. */
function undo({ exchange, ledger, say }) {
  if (!exchange.undo()) return say(gettext("Nothing was decided that could be taken back."));
  const { selected } = exchange.state;
  const mark = selected && ledger.querySelector(`[data-about="${CSS.escape(selected)}"]`);
  if (mark && mark !== ledger.mark) ledger.goTo(mark);
  return say(gettext("Taken back."));
}

function edit({ ledger, player, panels, say, keyOf }) {
  const found = document.activeElement?.closest?.(".comment") ?? ledger.mark;
  if (!found) return say(noMark(keyOf));
  const details = found.querySelector("details.edit");
  if (!details) return undefined;
  player.pause();
  panels.open(details);
  return details.querySelector("textarea").focus({ preventScroll: true });
}

/** Where to look for drills: the mark or the note with the focus, the span, the mark here. */
function placeHere({ picture, ledger, root }) {
  const held = document.activeElement;
  const link = ledger.mark?.querySelector("a[data-act='drill-here']")?.href ?? null;
  if (link && held?.closest?.(".block")) return link;
  const [start, end] = picture.span ?? [];
  const note = held?.closest?.(".desk-score .written")?.dataset.ref;
  let here = picture.span ? { start_s: decimal(start, 2), end_s: decimal(end, 2) } : null;
  if (note) here = { note };
  return here ? `${root.dataset.fromHere}?${new URLSearchParams(here)}` : link;
}

/** A panel with a form about a span, filled in with what is meant; then to one of its fields. */
function overHere(desk, id, field) {
  desk.player.pause();
  const form = desk.panels.openOver(id)?.querySelector("form");
  if (!form) return;
  fillSpan(form, spanHere(desk, id));
  form.elements[field].focus({ preventScroll: true });
}

/** The selected span, the selected row (to be marked only where no mark is), or a second about here. */
function spanHere({ picture, player, ledger, root }, id) {
  if (picture.span) return picture.span;
  const row = ledger.mark && id !== "pins" ? null : ledger.row;
  if (row) return [Number(row.dataset.start), Number(row.dataset.end)];
  const half = 0.5;
  const last = Number(root.dataset.duration) || player.seconds + half;
  return [Math.max(player.seconds - half, 0), Math.min(player.seconds + half, last)];
}

function fillSpan(form, [start, end]) {
  form.elements.start_s.value = place(start, 2);
  form.elements.end_s.value = place(end, 2);
  form.elements.end_s.dispatchEvent(new Event("input", { bubbles: true }));
}
