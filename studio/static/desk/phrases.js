// The phrase shelf in a dialog: the teacher's phrases, filled in for the moment that the comment is
// about. Loaded when first used. Digits choose the first nine, Esc closes.

import { decimal } from "../figures.js";
import { gettext } from "../translation.js";
import { fetchPart, openPanel } from "./panel.js";

const GAP = "…";
const FAILED = gettext("The phrases could not be fetched. What you wrote is kept; try again.");

/** Offer the phrases for a moment (and its mark's number, or null). */
export async function offerPhrases({ root, composer, say }, atS, mark) {
  const link = root.querySelector("[data-phrases]");
  if (!link) return undefined; // the clip was returned
  const query = new URLSearchParams({ at_s: decimal(atS, 2), ...(mark === null ? {} : { mark }) });
  const part = await fetchPart(`${link.href}?${query}`);
  return part === null ? say(FAILED) : show(root, part, composer);
}

function show(root, part, composer) {
  const close = `<button type="button" class="plain" data-close>${gettext("Close")}</button>`;
  const html = `<h2>${gettext("Phrases")}</h2>${part}${close}`;
  const dialog = openPanel(root, { name: "phrases-dialog", label: gettext("Phrases"), html });
  const links = [...dialog.querySelectorAll("ol a")];
  for (const link of links) {
    link.addEventListener("click", (event) => {
      event.preventDefault();
      dialog.close();
      composer.insert(link.textContent, link.dataset.kind, GAP);
    });
  }
  dialog.querySelector("[data-own-phrases]").href += keptWords(composer.text);
  dialog.addEventListener("keydown", (event) => choose(event, links));
  links[0]?.focus();
}

/** Digits press; arrows walk. */
function choose(event, links) {
  const digit = Number(event.key);
  const step = { ArrowDown: 1, ArrowUp: -1 }[event.key];
  if (digit >= 1 && digit <= links.length) links[digit - 1].click();
  else if (step) links[links.indexOf(document.activeElement) + step]?.focus();
  else return;
  event.preventDefault();
}

/** What stands in the comment may be put on the shelf. */
function keptWords(text) {
  return text ? `?${new URLSearchParams({ text })}` : "";
}
