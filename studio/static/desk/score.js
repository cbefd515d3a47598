// The drill's page above the ledger, in step with it: the note of the row that is pointed at, or
// that sounds, lies on a wash. Absent where the clip answers no page.

const SVG = "http://www.w3.org/2000/svg";
const MARGIN = 60; // round the note, in the engraver's units

export class DeskScore {
  #root;
  #wash = document.createElementNS(SVG, "rect");
  #ref = null;
  #chosen = null;

  constructor(root) {
    this.#root = root.querySelector(".desk-score");
    this.#wash.setAttribute("class", "pointed-at");
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
    this.#bring(note);
  }

  /** Within its own frame only: the page itself stays where it is. */
  #bring(note) {
    const [inner, frame] = [note.getBoundingClientRect(), this.#root.getBoundingClientRect()];
    if (inner.top < frame.top) this.#root.scrollTop -= frame.top - inner.top;
    if (inner.bottom > frame.bottom) this.#root.scrollTop += inner.bottom - frame.bottom;
  }
}
