// The summary that is proposed, and templates of one: asked for, and put into the field. Loaded when
// first used.

import { gettext } from "../translation.js";
import { fetchPart, openPanel } from "./panel.js";

/** Ask for one, and for the preview once the words are there. */
export function propose({ player, root, say }) {
  const form = root.querySelector("#propose");
  if (!form) return say(gettext("This clip was returned."));
  player.pause();
  form.dataset.goesOn = "";
  return form.requestSubmit();
}

const fieldIn = (root) => root.querySelector("#summary textarea");

/**
 * The proposed words are here: into an empty field, and on to the preview where a key asked for both.
 * Beside words that were written they stand to be chosen. What `go` does leads to the preview.
 */
export function proposed(desk, go) {
  const { root, say } = desk;
  const form = root.querySelector("#propose");
  const goes = form && "goesOn" in form.dataset;
  if (goes) delete form.dataset.goesOn;
  if (!root.querySelector("[data-proposed]")) return;
  if (!fieldIn(root)?.value.trim()) {
    useProposal(desk);
    if (goes) go(desk, "return");
  } else if (goes) {
    root.querySelector("#proposal [data-act='use-proposal']").focus();
    say(gettext("You have written a summary already. Enter puts the proposed words after it."));
  }
}

/** The proposed words into the summary's field, after what was written there. */
export function useProposal({ root, say }) {
  const field = fieldIn(root);
  const words = root.querySelector("[data-proposed]")?.innerText.trim();
  if (!field || !words) return say(gettext("Nothing is proposed yet."));
  field.value = [field.value.trim(), words].filter(Boolean).join("\n");
  root.querySelector("#proposal").replaceChildren();
  field.dispatchEvent(new Event("input", { bubbles: true }));
  return field.focus();
}

/** Offer the teacher's templates, filled in for this clip. Digits choose the first nine, Esc closes. */
export async function offerTemplates({ player, root, say }) {
  const link = root.querySelector("[data-templates]");
  if (!link) return say(gettext("This clip was returned."));
  player.pause();
  const part = await fetchPart(link.href);
  if (part === null) return say(gettext("The templates could not be fetched. What you wrote is kept; try again."));
  const close = `<button type="button" class="plain" data-close>${gettext("Close")}</button>`;
  const html = `<h2>${gettext("Templates")}</h2>${part}${close}`;
  const dialog = openPanel(root, { name: "phrases-dialog", label: gettext("Templates"), html });
  const buttons = [...dialog.querySelectorAll("[data-template]")];
  for (const button of buttons) {
    button.addEventListener("click", () => {
      const words = button.closest("li").querySelector("[data-words]").innerText.trim();
      dialog.close();
      insert(fieldIn(root), words);
    });
  }
  dialog.addEventListener("keydown", (event) => {
    const at = buttons.indexOf(document.activeElement);
    const step = { ArrowDown: 1, ArrowUp: -1 }[event.key];
    const digit = Number(event.key);
    if (digit >= 1 && digit <= buttons.length) buttons[digit - 1].click();
    else if (step) buttons[at + step]?.focus();
    else return;
    event.preventDefault();
  });
  return buttons[0]?.focus();
}

/** Words where the cursor stands, as if they were typed, so that the browser can undo them. */
function insert(field, words) {
  field.focus();
  if (!document.execCommand("insertText", false, words)) {
    field.setRangeText(words, field.selectionStart, field.selectionEnd, "end");
    field.dispatchEvent(new Event("input", { bubbles: true }));
  }
  field.scrollIntoView({ block: "center" });
}
