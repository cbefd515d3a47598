// What each of the desk's actions does. A key, a button with data-act and a menu all come here.

import { decimal } from "../figures.js";
import { gettext } from "../translation.js";
import { middleOf, steppedIn, timesOf } from "./frames.js";
import { MARK_ACTS } from "./mark-acts.js";
import { beginSpan, endSpan } from "./spans.js";
import { stepped } from "./timecode.js";

/** The actions by name; each gets the parts of the desk, and what was pressed if not a key. */
export const ACTS = {
  play: ({ player }) => player.toggle(),
  "back-1": ({ player }) => player.seek(player.seconds - 1),
  "forward-1": ({ player }) => player.seek(player.seconds + 1),
  "back-5": ({ player }) => player.seek(player.seconds - 5),
  "forward-5": ({ player }) => player.seek(player.seconds + 5),
  "back-frame": (desk) => frame(desk, -1),
  "forward-frame": (desk) => frame(desk, 1),
  slower: (desk) => speed(desk, -1),
  faster: (desk) => speed(desk, 1),
  loop,
  "span-start": beginSpan,
  "span-end": endSpan,
  comment: (desk) => {
    desk.player.pause();
    const at = desk.player.seconds;
    desk.composer.open(at); // at once: what is typed next must go into the text
    shown(desk).then((middle) => desk.composer.correct(at, middle));
  },
  praise: (desk) => {
    ACTS.comment(desk);
    desk.composer.choose("well_done");
  },
  "comment-span": ({ player, picture, composer, say }) => {
    if (!picture.span) return say(gettext("Choose a span first: drag over the picture, or use “from” and “to”."));
    player.pause();
    return composer.open(...picture.span);
  },
  "comment-note": ({ player, composer, ledger, score, say }) => {
    const ref = score.chosen ?? ledger.refOf(null);
    if (!ref) return say(gettext("Choose a note in the drill's page first."));
    player.pause();
    const played = ledger.showWritten(ref);
    return composer.openOn(ref, played ? played.start_s : player.seconds);
  },
  reply: ({ player, composer, enclosing }) => {
    player.pause();
    if (!composer.written) composer.place(player.seconds);
    enclosing.reply();
  },
  draw: ({ player, composer, enclosing, root }) => {
    player.pause();
    if (!composer.written) composer.open(player.seconds);
    enclosing.draw(root.querySelector("#composer"));
  },
  ...MARK_ACTS,
  "next-row": ({ ledger }) => ledger.walk(1),
  "previous-row": ({ ledger }) => ledger.walk(-1),
  singles: ({ ledger, root }) => {
    const open = ledger.toggleSingles();
    const button = root.querySelector("[data-act='singles']");
    button?.setAttribute("aria-pressed", open);
    if (button) button.textContent = open ? gettext("Fold single notes") : gettext("Show single notes");
  },
  "zoom-in": ({ picture }) => picture.zoom(1),
  "zoom-out": ({ picture }) => picture.zoom(-1),
  follow: ({ root, say }) => {
    const stays = root.toggleAttribute("data-stays-put");
    root.querySelector("[data-act='follow']")?.setAttribute("aria-pressed", !stays);
    say(stays ? gettext("Ledger and picture stay where they are.") : gettext("Ledger and picture follow what plays."));
  },
  whole: ({ picture }) => picture.showWhole(),
  compare: (desk) => {
    const link = desk.root.querySelector("[data-go='compare']");
    const { ledger, player } = desk;
    const event = ledger.eventHere(player.seconds);
    const at = ledger.mark?.dataset.start ?? decimal(player.seconds);
    if (link) link.search = event === null ? `?at=${at}` : `?note=${event}`;
    return go(desk, "compare");
  },
  playings: async (desk, link) => (await import("./playings.js")).unfold(desk, link),
  "hear-both": async (desk, button) => (await import("./playings.js")).hear(desk, button),
  drill: ({ root, player }) => {
    player.pause();
    const field = root.querySelector("#drills select, #drills input:not([type='hidden'])");
    field?.focus({ preventScroll: true });
    field?.scrollIntoView({ block: "nearest" });
  },
  score: ({ score, say }) => score.toggle() ?? say(gettext("This clip answers no drill with a page.")),
  summary: ({ player, root, say }) => {
    const field = root.querySelector("#summary textarea");
    if (!field) return say(MISSING.return);
    player.pause();
    field.focus({ preventScroll: true });
    return field.scrollIntoView({ block: "center" });
  },
  propose: async (desk) => (await import("./summary.js")).propose(desk),
  templates: async (desk) => (await import("./summary.js")).offerTemplates(desk),
  "use-proposal": async (desk) => (await import("./summary.js")).useProposal(desk),
  together: (desk) => go(desk, "together"),
  return: (desk) => go(desk, "return"),
  "take-back": (desk) => go(desk, "take-back"),
  "next-clip": (desk) => go(desk, "next-clip"),
  "previous-clip": (desk) => go(desk, "previous-clip"),
  help: ({ help }) => help.toggle(),
  cancel: (desk) => {
    if (desk.panels.closeOver()) return;
    desk.picture.select(null);
    loosen(desk);
  },
};

/** What needs the recording; once that is gone the desk says so instead. */
export const PLAYING = new Set([
  ...["play", "back-frame", "forward-frame", "slower", "faster", "loop", "hear-both"],
  ...["reply", "draw"],
]);

/** Presses that come while the times are on their way are taken one after the other. */
async function frame(desk, by) {
  const { player, root } = desk;
  player.pause();
  const { frameRate, duration } = root.dataset;
  const times = await frameTimes(desk);
  const place = player.shown;
  if (times) player.seek(steppedIn(times, place, by, Number(duration)));
  else player.seek(stepped(place, by, Number(frameRate), Number(duration)));
}

/** The middle of the frame on the screen: its own edge, rounded, may be its neighbour's. */
async function shown(desk) {
  const { player, root } = desk;
  const times = await frameTimes(desk);
  return times ? middleOf(times, player.shown, Number(root.dataset.duration)) : player.seconds;
}

/** Fetched once the recording can be played; null without a picture. */
async function frameTimes({ root, player, fetch }) {
  if (!player.ready) return null;
  root.frameTimes ??= fetch(root.dataset.frames).then(timesOf);
  const times = await root.frameTimes;
  if (!times) root.frameTimes = null;
  return times?.length ? times : null;
}

function speed({ player, root, say }, by) {
  const now = `${player.changeSpeed(by)}×`;
  root.querySelector(".speed").textContent = now;
  say(gettext("Speed %(speed)s", { speed: now }));
}

function loop(desk) {
  const { player, picture, say, root } = desk;
  if (player.loop) return loosen(desk);
  if (!picture.span) return say(gettext("Choose a span first: drag over the picture, or use “from” and “to”."));
  player.loopOver(picture.span);
  root.querySelector("[data-act='loop']")?.setAttribute("aria-pressed", "true");
  return player.playFrom(picture.span[0]);
}

function loosen({ player, root }) {
  player.loopOver(null);
  root.querySelector("[data-act='loop']")?.setAttribute("aria-pressed", "false");
}

const MISSING = {
  together: gettext("No earlier clip of this pupil can be played beside this one."),
  compare: gettext("No earlier clip of this pupil has double stops to compare with."),
  return: gettext("This clip was returned."),
  "take-back": gettext("Nothing was returned that can still be taken back."),
};

export function go({ root, say, exchange }, where) {
  const link = root.querySelector(`[data-go='${where}']`);
  if (!link) return say(MISSING[where] ?? gettext("No other clip there."));
  return exchange.whenSent(() => link.click());
}
