// The line that stays in sight: which mark of how many is selected, and what is decided about it.

import { gettext, ngettext } from "../translation.js";
import { choiceOf, loudOf, openMarks } from "./state.js";

const SAID = {
  kept: (places) => gettext("Mark %(number)s of %(count)s: kept.", places),
  dropped: (places) => gettext("Mark %(number)s of %(count)s: dropped.", places),
  "": (places) => gettext("Mark %(number)s of %(count)s.", places),
};
const SAID_QUIET = {
  kept: (places) => gettext("Quiet mark %(number)s of %(count)s: kept.", places),
  dropped: (places) => gettext("Quiet mark %(number)s of %(count)s: dropped.", places),
  "": (places) => gettext("Quiet mark %(number)s of %(count)s.", places),
};
const toDecide = (open) => ngettext("%(count)s to decide", "%(count)s to decide", open);

export function showStrip(root, state) {
  const strip = root.querySelector("#strip");
  if (!strip) return;
  const words = stripSaid(state);
  if (strip.textContent !== words) strip.textContent = words;
  showCount(root.querySelector("#counts b"), openMarks(state).length);
}

/** The count at the head of the page says the same, where it has been said that some are open. */
function showCount(count, open) {
  if (count) count.textContent = open ? toDecide(open) : gettext("all decided");
}

/** "Mark 2 of 4: kept. 1 to decide"; how many there are in all while none is selected. */
export function stripSaid(state) {
  const { order, quiet, selected } = state;
  const open = openMarks(state).length;
  const left = open ? toDecide(open) : gettext("All are decided");
  if (!order.length) return gettext("No marks");
  const loud = loudOf(state);
  if (!order.includes(selected)) return [...inAll(loud, quiet), ...(loud.length ? [left] : [])].join(" ");
  const [said, among] = quiet.includes(selected) ? [SAID_QUIET, quiet] : [SAID, loud];
  const which = said[choiceOf(state, selected)]({ number: among.indexOf(selected) + 1, count: among.length });
  return loud.length ? [which, left].join(" ") : which;
}

/** How many there are; the quiet ones where there are no others. */
function inAll(loud, quiet) {
  if (loud.length) return [ngettext("%(count)s mark.", "%(count)s marks.", loud.length)];
  return [ngettext("%(count)s proposed quietly.", "%(count)s proposed quietly.", quiet.length)];
}
