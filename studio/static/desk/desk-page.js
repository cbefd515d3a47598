// The desk's page as the exchange changes it: parts that an answer brings, what was pressed, forms
// whose words were refused.

import { showAct, showMarks, takeAway } from "./at-once.js";
import { isBeingWritten, morph } from "./morph.js";
import { loudFirst } from "./quiet.js";
import { showStrip } from "./strip.js";

export class DeskPage {
  #root;
  #drafts;

  constructor(root, drafts) {
    this.#root = root;
    this.#drafts = drafts;
  }

  /** The marks as the server wrote them, the quiet ones last: [{ mark, choice, quiet }]. */
  get marks() {
    return loudFirst(this.#root.querySelectorAll("[data-about]")).map(({ dataset }) => ({
      mark: dataset.about,
      choice: dataset.choice,
      quiet: "quiet" in dataset,
    }));
  }

  order() {
    return this.marks.map(({ mark }) => mark);
  }

  quiet() {
    return this.marks.filter(({ quiet }) => quiet).map(({ mark }) => mark);
  }

  put(parts, form) {
    for (const part of parts) {
      const old = document.getElementById(part.id);
      if (!old) continue;
      for (const article of part.querySelectorAll("[data-about]")) article.dataset.shown = article.dataset.choice;
      morph(old, part, form);
    }
  }

  show(state) {
    for (const act of state.queue) showAct(this.#root, act);
    showMarks(this.#root, state);
    showStrip(this.#root, state);
  }

  takeAway(act) {
    takeAway(this.#root, act);
  }

  /** The form that an act came from, where nothing else is being written in it by now. */
  formOf({ draft, form }) {
    const found = draft
      ? this.#root.querySelector(`form[data-draft="${CSS.escape(draft)}"]`)
      : form && document.getElementById(form);
    return found && !isBeingWritten(found) ? found : null;
  }

  /** The words are in their form again, with what is wrong beside them; a draft, as before. */
  writtenAgain(form) {
    const details = form.closest("details");
    if (details) details.open = true;
    this.#drafts.keep(form);
  }
}

/** A recording that was refused is in its form again, to be heard and sent anew. */
export function giveBack(form, kept) {
  const field = kept && form.elements[kept.name];
  if (!field) return;
  const held = new DataTransfer();
  held.items.add(kept.file);
  field.files = held.files;
  field.dispatchEvent(new Event("change", { bubbles: true }));
}
