// While a tolerance is being chosen: how many marks there would be. Loaded when first used.

import { gettext, ngettext } from "../translation.js";

const PAUSE_MS = 150; // a slider moves faster than anybody reads
const timers = new WeakMap();

/** Ask after a short pause, and say it in the form's output. */
export function tryOut(form) {
  clearTimeout(timers.get(form));
  timers.set(form, setTimeout(() => ask(form), PAUSE_MS));
}

async function ask(form) {
  const output = form.querySelector("output.tried");
  const fields = new FormData(form);
  fields.delete("csrfmiddlewaretoken");
  try {
    const answer = await fetch(`${form.dataset.try}?${new URLSearchParams(fields)}`);
    const found = answer.ok ? await answer.json() : null;
    output.textContent = found ? inWords(found) : "";
  } catch {
    output.textContent = "";
  }
}

/** { marks, now } in words. */
export function inWords({ marks, now }) {
  const many = marks ? ngettext("%(count)s mark", "%(count)s marks", marks) : gettext("no marks");
  if (marks === now) return gettext("As many marks as now: %(many)s.", { many });
  return gettext("There would be %(many)s instead of %(now)s.", { many, now });
}
