// <key-help>: the dialog that shows the desk's keys, from the one table that holds them.

import { KEYS, shown } from "./keys.js";

export class KeyHelp extends HTMLElement {
  #dialog = null;

  connectedCallback() {
    this.#dialog = document.createElement("dialog");
    this.#dialog.className = "keys-help";
    this.#dialog.setAttribute("aria-labelledby", "keys-title");
    const title = document.createElement("h2");
    title.id = "keys-title";
    title.textContent = "Keys";
    const hint = document.createElement("p");
    hint.className = "quiet small";
    hint.textContent =
      "They work wherever nothing is being written. In a text: Ctrl Enter saves, Esc leaves it.";
    const form = document.createElement("form");
    form.method = "dialog";
    const close = document.createElement("button");
    close.textContent = "Close";
    form.append(close);
    this.#dialog.append(title, hint, this.#list(), form);
    this.replaceChildren(this.#dialog);
  }

  // -- actions --------------------------------------------------------------------------------

  toggle() {
    if (this.#dialog.open) this.#dialog.close();
    else this.#dialog.showModal();
  }

  get open() {
    return this.#dialog.open;
  }

  // -- internals ------------------------------------------------------------------------------

  #list() {
    const list = document.createElement("dl");
    for (const { keys, words } of KEYS) {
      const term = document.createElement("dt");
      keys.forEach((name, n) => {
        const key = document.createElement("kbd");
        key.textContent = shown(name);
        term.append(n ? " or " : "", key);
      });
      const meaning = document.createElement("dd");
      meaning.textContent = words;
      const pair = document.createElement("div");
      pair.append(term, meaning);
      list.append(pair);
    }
    return list;
  }
}

customElements.define("key-help", KeyHelp);
