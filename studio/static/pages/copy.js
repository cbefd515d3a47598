// <copy-text>: a button that copies the field inside, and says so, to a screen reader too. Without
// this module the button stays hidden, and the field can be selected by hand.

import { gettext } from "../translation.js";

class CopyText extends HTMLElement {
  #listening = null;

  connectedCallback() {
    this.#listening = new AbortController();
    const { signal } = this.#listening;
    this.#button.hidden = false;
    this.#button.addEventListener("click", () => this.#copy(), { signal });
    this.#field.addEventListener("focus", () => this.#field.select(), { signal });
  }

  disconnectedCallback() {
    this.#listening.abort();
  }

  async #copy() {
    this.#say("");
    const copied = (await this.#byClipboard()) || this.#bySelection();
    this.#say(copied ? gettext("Copied.") : gettext("It is selected: copy it by hand."));
  }

  /** The clipboard is there on https and on this machine itself alone. */
  async #byClipboard() {
    try {
      await navigator.clipboard.writeText(this.#field.value);
      return true;
    } catch {
      return false;
    }
  }

  #bySelection() {
    this.#field.focus();
    this.#field.select();
    const copied = document.execCommand("copy");
    if (copied) this.#button.focus();
    return copied;
  }

  /** A moment later than what was there, so that the same words are said again. */
  #say(words) {
    const said = this.querySelector("[role=status]");
    if (words) setTimeout(() => { said.textContent = words; }, 50);
    else said.textContent = "";
  }

  get #button() {
    return this.querySelector("button");
  }

  get #field() {
    return this.querySelector("textarea");
  }
}

customElements.define("copy-text", CopyText);
