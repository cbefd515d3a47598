// <key-help>: the keys that a teacher has changed, and the dialog that shows and changes them, which
// is fetched when it is first asked for.

export class KeyHelp extends HTMLElement {
  #aborter = null;
  #dialog = null;
  #comes = false; // asked for, and not there yet

  connectedCallback() {
    this.#aborter = new AbortController();
  }

  disconnectedCallback() {
    this.#aborter.abort();
    this.#dialog = null;
  }

  async toggle() {
    if (this.#comes) return;
    this.#comes = true;
    try {
      const { KeyDialog } = await import("./key-dialog.js");
      this.#dialog ??= new KeyDialog(this, this.changed, this.#aborter.signal);
      this.#dialog.toggle();
    } finally {
      this.#comes = false;
    }
  }

  /** Whether the page's own keys rest: those pressed while the dialog comes are not the page's. */
  get open() {
    return this.#comes || (this.#dialog?.open ?? false);
  }

  get changed() {
    return this.#dialog?.changed ?? JSON.parse(this.dataset.changed || "{}");
  }
}

customElements.define("key-help", KeyHelp);
