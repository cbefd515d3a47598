// What is typed about a recording. It belongs to it from the moment it is typed: the server is told
// while it is on its way, and this browser keeps what the server does not have yet.

import * as drafts from "./drafts.js";

const FIELDS = ["subject", "title", "note", "assignment"];
const TYPED_MS = 400;

export class Words {
  #form;
  #whose;
  #tell;
  #typing = 0;
  #touched = new Set();

  /** `whose`: the sender's, and the child's for whom it is sent. `tell(words)`: true once told. */
  constructor(form, whose, tell) {
    this.#form = form;
    this.#whose = whose;
    this.#tell = tell;
    this.fill(drafts.kept(whose));
  }

  /** As they are now: {subject, title, note, assignment}. */
  get now() {
    return Object.fromEntries(FIELDS.map((name) => [name, this.#field(name).value]));
  }

  /**
   * Those that are told: what is blank and was never touched says nothing. A recording that goes on
   * by itself after a killed browser may have words already that this page does not know.
   */
  get said() {
    const said = Object.entries(this.now).filter(([name, text]) => text || this.#touched.has(name));
    return Object.fromEntries(said);
  }

  /** Fill in what is blank; nothing where they are about another drill than the chosen one. */
  fill(words) {
    const chosen = this.#field("assignment").value;
    if (chosen && words.assignment && chosen !== words.assignment) {
      return;
    }
    for (const name of FIELDS.filter((one) => words[one] && !this.#field(one).value)) {
      this.#field(name).value = words[name];
    }
  }

  typed(field) {
    if (!FIELDS.includes(field)) {
      return;
    }
    this.#touched.add(field);
    drafts.keep(this.#whose, this.now);
    clearTimeout(this.#typing);
    this.#typing = setTimeout(() => this.flush(), TYPED_MS);
  }

  /** Tell at once what was typed and not told. */
  async flush() {
    clearTimeout(this.#typing);
    if (!drafts.keeps(this.#whose, this.now)) return;
    const words = this.said;
    if (await this.#tell(words)) {
      this.told(words);
    }
  }

  /** The server has these; what was typed since stays here. */
  told(words) {
    const kept = drafts.kept(this.#whose);
    if (FIELDS.every((name) => (kept[name] ?? "") === (words[name] ?? ""))) {
      drafts.clear(this.#whose);
    }
  }

  /** The recording has arrived with them. */
  forget() {
    clearTimeout(this.#typing);
    drafts.clear(this.#whose);
  }

  #field(name) {
    return this.#form.elements[name];
  }
}
