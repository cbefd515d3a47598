// The line that stays in sight: which mark of how many is selected, and what is decided about it.

import { gettext, ngettext } from "../translation.js";
import { choiceOf, openMarks } from "./state.js";

const SAID = {
  kept: (places) => gettext("Mark %(number)s of %(count)s: kept.", places),
  dropped: (places) => gettext("Mark %(number)s of %(count)s: dropped.", places),
  "": (places) => gettext("Mark %(number)s of %(count)s.", places),
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
  const { order, selected } = state;
  const open = openMarks(state).length;
  const left = open ? toDecide(open) : gettext("All are decided");
  const at = order.indexOf(selected);
  if (!order.length) return gettext("No marks");
  if (at < 0) return [ngettext("%(count)s mark.", "%(count)s marks.", order.length), left].join(" ");
  return [SAID[choiceOf(state, selected)]({ number: at + 1, count: order.length }), left].join(" ");
}
