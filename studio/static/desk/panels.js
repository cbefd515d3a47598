// What opens at a key or a press and is closed again: Esc closes it and leads back to where the focus
// was, Ctrl+Enter sends its form. What a key opens lies over the page, so that nothing moves under it.

const PANEL = "details.tool, details.add-mark, details.edit, details.enclose, details.write";
const FIELD = "input, textarea, select";

export class Panels {
  #root;
  #back;
  #from = new WeakMap(); // where the focus was when a panel was opened

  /** back(): the focus to what is selected, else to the desk. */
  constructor(root, back, signal) {
    this.#root = root;
    this.#back = back;
    root.addEventListener("keydown", (event) => this.#key(event), { signal });
    root.addEventListener("toggle", ({ target }) => this.#toggled(target), { signal, capture: true });
  }

  // -- actions --------------------------------------------------------------------------------

  /** Open a panel of the ledger over the page; the panel, or null where there is none. */
  openOver(id) {
    const details = this.#root.querySelector(`#${id}`);
    if (!details) return null;
    this.closeOver();
    this.#remember(details);
    if (!details.open) details.dataset.over = "";
    details.open = true;
    return details;
  }

  /** Open a panel at its place. */
  open(details) {
    this.#remember(details);
    details.open = true;
    details.scrollIntoView({ block: "nearest" });
  }

  /** Close what a key opened over the page; false where nothing is. */
  closeOver() {
    const over = this.#root.querySelector("details[data-over]");
    if (over) this.close(over);
    return Boolean(over);
  }

  close(details) {
    const inside = details.contains(document.activeElement);
    const from = this.#from.get(details);
    details.open = false;
    if (!inside) return;
    if (from?.isConnected && from !== document.body && !details.contains(from)) from.focus({ preventScroll: true });
    else this.#back();
  }

  // -- callbacks ------------------------------------------------------------------------------

  #key(event) {
    const { target, key } = event;
    if (event.isComposing || event.defaultPrevented || target.closest("dialog")) return;
    if (key === "Enter" && (event.ctrlKey || event.metaKey) && target.form) {
      event.preventDefault();
      target.form.requestSubmit();
    }
    if (key !== "Escape") return;
    const panel = target.closest(PANEL);
    if (panel?.open) this.close(panel);
    else if (target.matches(FIELD)) this.#back();
    else if (!this.closeOver()) return;
    event.preventDefault();
    event.stopPropagation();
  }

  #toggled(details) {
    if (!details.open) delete details.dataset.over;
  }

  // -- internals ------------------------------------------------------------------------------

  #remember(details) {
    if (!details.contains(document.activeElement)) this.#from.set(details, document.activeElement);
  }
}
