// The comment that is being written: its moment or span follows the play head until the teacher
// writes or chooses one.

import { parsePlace, place } from "../figures.js";

const DIGITS = 2; // hundredths: finer than a frame at any usual rate

export class Composer {
  #root;
  #drafts;
  #pinned = false;

  constructor(root, drafts, signal) {
    this.#root = root;
    this.#drafts = drafts;
    this.#pinned = Boolean(this.#form && "restored" in this.#form.dataset);
    root.addEventListener("input", (event) => this.#edited(event), { signal });
  }

  // -- actions --------------------------------------------------------------------------------

  /** The play head has moved. */
  place(seconds) {
    if (!this.#form || this.#pinned) return;
    this.#form.elements.start_s.value = place(seconds, DIGITS);
    this.#form.elements.end_s.value = "";
  }

  /** Comment at a moment (end null) or over a span; the cursor goes to the text. */
  open(start, end = null) {
    if (!this.#form) return;
    this.#set(start, end);
    this.#drafts.keep(this.#form);
    this.#form.elements.text.focus();
  }

  /** The kind of the comment. */
  choose(kind) {
    if (!this.#form) return;
    this.#form.elements.kind.value = kind;
    this.#drafts.keep(this.#form);
  }

  /** A moment is known better than when it was written here, unless it was changed since. */
  correct(from, to) {
    const field = this.#form?.elements.start_s;
    if (field?.value === place(from, DIGITS)) field.value = place(to, DIGITS);
  }

  /** Comment on what is written in the drill's page. */
  openOn(ref, seconds) {
    const field = this.#form?.elements.score_ref;
    if (field) field.value = ref;
    this.open(seconds);
  }

  /** Put words where the cursor is, choose the kind, and select the first gap in them. */
  insert(words, kind, gap) {
    const { text, kind: kinds } = this.#form.elements;
    const at = text.selectionStart;
    const space = at > 0 && !/\s/.test(text.value[at - 1]) ? " " : "";
    text.setRangeText(space + words, at, text.selectionEnd, "end");
    if (!text.value.trim().replace(words, "")) kinds.value = kind;
    text.focus();
    const open = text.value.indexOf(gap, at);
    if (open >= 0) text.setSelectionRange(open, open + gap.length);
    text.dispatchEvent(new Event("input", { bubbles: true }));
  }

  /** What is written so far. */
  get text() {
    return this.#form?.elements.text.value.trim() ?? "";
  }

  /** Where the comment stands, in seconds; null while it follows the play head. */
  get moment() {
    return this.#form && this.#pinned ? parsePlace(this.#form.elements.start_s.value) : null;
  }

  /** A span was selected: an untouched comment is about it. */
  select(span) {
    if (!this.#form || this.#form.elements.text.value) return;
    if (span) this.#set(span[0], span[1]);
    else this.#pinned = false;
  }

  /** The comment is on its way: the form is empty for the next. */
  clear(seconds) {
    const form = this.#form;
    form.reset();
    for (const error of form.querySelectorAll(".error")) error.remove();
    for (const name of ["text", "end_s", "drawing", "drawing_words", "score_ref"]) {
      if (form.elements[name]) form.elements[name].value = "";
    }
    form.elements.text.defaultValue = "";
    form.elements.form_key.value = crypto.randomUUID().replaceAll("-", "");
    this.#pinned = false;
    this.place(seconds);
  }

  /** Words that were refused stand in the form again. */
  renewed() {
    this.#pinned = this.written;
  }

  /** Whether something is written that was not added yet. */
  get written() {
    const form = this.#form;
    const { text, recording, drawing } = form?.elements ?? {};
    return Boolean(text?.value.trim() || recording?.files.length || drawing?.value);
  }

  focus() {
    this.#form?.elements.text.focus();
  }

  // -- callbacks ------------------------------------------------------------------------------

  #edited({ target }) {
    if (target.form === this.#form) this.#pinned = true;
  }

  // -- internals ------------------------------------------------------------------------------

  get #form() {
    return this.#root.querySelector("#composer");
  }

  #set(start, end) {
    this.#pinned = true;
    this.#form.elements.start_s.value = place(start, DIGITS);
    this.#form.elements.end_s.value = end === null ? "" : place(end, DIGITS);
  }
}
