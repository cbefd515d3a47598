// The line that stays in sight: which mark of how many is selected, and what is decided about it.

import { choiceOf, openMarks } from "./state.js";

const SAID = { kept: ": kept", dropped: ": dropped", "": "" };

export function showStrip(root, state) {
  const strip = root.querySelector("#strip");
  if (!strip) return;
  const words = stripSaid(state);
  if (strip.textContent !== words) strip.textContent = words;
  showCount(root.querySelector("#counts b"), openMarks(state).length);
}

/** The count at the head of the page says the same, where it has been said that some are open. */
function showCount(count, open) {
  if (count) count.textContent = open ? `${open} to decide` : "all decided";
}

/** "Mark 2 of 4: kept. 1 to decide"; how many there are in all while none is selected. */
export function stripSaid(state) {
  const { order, selected } = state;
  const open = openMarks(state).length;
  const left = open ? `${open} to decide` : "All are decided";
  const at = order.indexOf(selected);
  if (!order.length) return "No marks";
  if (at < 0) return `${order.length} mark${order.length > 1 ? "s" : ""}. ${left}`;
  return `Mark ${at + 1} of ${order.length}${SAID[choiceOf(state, selected)]}. ${left}`;
}
