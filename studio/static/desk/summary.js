// The summary that is proposed: asked for, and put into the field. Loaded when first used.

import { gettext } from "../translation.js";

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
