// The drill's page above the ledger, in step with it: the note of the row that is pointed at, or
// that sounds, lies on a wash. It is folded to the line of that note, so that the rows stay near, until
// it is opened. Absent where the clip answers no page.

import { gettext } from "../translation.js";

const SVG = "http://www.w3.org/2000/svg";
const MARGIN = 60; // round the note, in the engraver's units
const ROOM_PX = 12; // above and below a line

export class DeskScore {
  #root;
  #wash = document.createElementNS(SVG, "rect");
  #ref = null;
  #button = null;
  #note = null; // what it points at
  #chosen = null;

  constructor(root, signal) {
    this.#root = root.querySelector(".desk-score");
    this.#button = root.querySelector("[data-act='score']");
    this.#wash.setAttribute("class", "pointed-at");
    if (!this.#root) return;
    this.toggle(true);
    addEventListener("resize", () => this.#measure(), { signal });
  }

  // -- actions --------------------------------------------------------------------------------

  /** Fold it to one line, or open it; undefined where there is no page. */
  toggle(folded = !this.folded) {
    if (!this.#root) return undefined;
    this.#root.toggleAttribute("data-folded", folded);
    this.#measure();
    this.#button.setAttribute("aria-expanded", !folded);
    this.#button.textContent = folded ? gettext("Show the whole page") : gettext("Show one line");
    if (this.#note) this.#bring(this.#note);
    return folded;
  }

  get folded() {
    return this.#root?.hasAttribute("data-folded") ?? false;
  }

  /** The note of the page that was chosen last; null before any was. */
  get chosen() {
    return this.#chosen;
  }

  choose(ref) {
    this.#chosen = ref;
  }

  /** Point at what is written; null at nothing. */
  point(ref) {
    if (!this.#root || ref === this.#ref) return;
    this.#ref = ref;
    this.#wash.remove();
    const note = ref && this.#root.querySelector(`.written[data-ref="${CSS.escape(ref)}"]`);
    if (!note) return;
    const { x, y, width, height } = note.getBBox();
    const sides = { x: x - MARGIN, y: y - MARGIN, width: width + 2 * MARGIN, height: height + 2 * MARGIN };
    for (const [name, size] of Object.entries(sides)) this.#wash.setAttribute(name, String(Math.round(size)));
    note.prepend(this.#wash);
    this.#note = note;
    this.#bring(note);
  }

  // -- internals ------------------------------------------------------------------------------

  /** As high as its highest line. */
  #measure() {
    const heights = this.#lines.map((line) => line.getBoundingClientRect().height);
    const line = Math.ceil(Math.max(...heights, 0)) + 2 * ROOM_PX;
    this.#root.style.setProperty("--line-height", `${line}px`);
    this.#button.hidden = this.#root.scrollHeight <= line + ROOM_PX;
  }

  get #lines() {
    return [...this.#root.querySelectorAll(".system")];
  }

  /** Within its own frame only: the page itself stays where it is. */
  #bring(note) {
    const shown = (this.folded && note.closest(".system")) || note;
    const [inner, frame] = [shown.getBoundingClientRect(), this.#root.getBoundingClientRect()];
    if (this.folded) {
      this.#root.scrollTop += inner.top - frame.top - (frame.height - inner.height) / 2;
      return;
    }
    if (inner.top < frame.top) this.#root.scrollTop -= frame.top - inner.top;
    if (inner.bottom > frame.bottom) this.#root.scrollTop += inner.bottom - frame.bottom;
  }
}
