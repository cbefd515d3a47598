// Two playings of one run, side by side in its block, and heard one after the other. The figures
// are the server's. Loaded when first used.

import { gettext } from "../translation.js";
import { fetchPart } from "./panel.js";

let hearing = null; // aborts what is being heard

/** Put the playings of a link's run under its block, or fold them away again. */
export async function unfold(desk, link) {
  const block = link.closest(".block");
  const open = block.querySelector(".two-playings");
  if (open) open.remove();
  else await show(desk, block, link.href);
  link.setAttribute("aria-expanded", Boolean(block.querySelector(".two-playings")));
}

/** One span, then the other; a pause in between ends it, a second press begins anew. */
export async function hear({ player, say }, button) {
  hearing?.abort();
  hearing = new AbortController();
  const { signal } = hearing;
  const [first, last] = spansOf(button.dataset.spans);
  let span = first;
  if (!(await player.playFrom(span[0])) || signal.aborted) return;
  say(gettext("The first of the two."));
  const watch = ({ detail: { seconds, playing } }) => {
    if (!playing) hearing.abort();
    else if (seconds >= span[1] && span === first) next();
    else if (seconds >= span[1]) player.pause();
  };
  const next = () => {
    span = last;
    say(gettext("The second of the two."));
    player.playFrom(span[0]);
  };
  player.addEventListener("desk:time", watch, { signal });
}

/** Two spans in seconds from "4.000 5.200 5.500 6.700". */
export function spansOf(text) {
  const [a, b, c, d] = text.split(" ").map(Number);
  return [
    [a, b],
    [c, d],
  ];
}

async function show(desk, block, address) {
  const part = elementOf(await fetchPart(address));
  if (!part) return desk.say(gettext("The playings could not be fetched. Press again."));
  const held = document.activeElement?.id;
  const old = block.querySelector(".two-playings");
  if (old) old.replaceWith(part);
  else block.querySelector(".under").after(part);
  if (held) document.getElementById(held)?.focus({ preventScroll: true });
  return part.addEventListener("change", () => show(desk, block, asked(part)));
}

const asked = (form) => `${form.action}?${new URLSearchParams(new FormData(form))}`;

function elementOf(html) {
  const template = document.createElement("template");
  template.innerHTML = html ?? "";
  return template.content.firstElementChild;
}
