// <drill-sheet>: one stop for the Tab key, then arrows from note to note; the note that was chosen
// is named under the page. Bubbles "note-chosen" with the note's ref, for whoever plays it.

import { gettext } from "../translation.js";
import { step } from "./note-steps.js";

const SVG = "http://www.w3.org/2000/svg";
const MARGIN = 50; // of the box round the chosen note, in the engraver's units (a staff is 720 high)

class DrillSheet extends HTMLElement {
  #listening = null;

  connectedCallback() {
    this.#listening = new AbortController();
    const { signal } = this.#listening;
    this.addEventListener("keydown", (event) => this.#key(event), { signal });
    this.addEventListener("focusin", (event) => this.#choose(event.target), { signal });
    this.addEventListener("click", (event) => this.#choose(event.target), { signal });
    for (const leaf of this.querySelectorAll(".leaf")) {
      this.#notesOf(leaf).forEach((note, place) => this.#setStop(note, place === 0));
    }
    this.#say(gettext("Choose a note to read its name; the arrow keys go from note to note."));
  }

  disconnectedCallback() {
    this.#listening.abort();
  }

  // -- actions

  #key(event) {
    const note = event.target.closest?.(".written");
    if (!note || event.ctrlKey || event.metaKey || event.altKey) {
      return;
    }
    const notes = this.#notesOf(note.closest(".leaf"));
    const place = step(event.key, notes.indexOf(note), notes.length);
    if (place !== null) {
      event.preventDefault();
      notes[place].focus();
    }
  }

  #choose(target) {
    const note = target.closest?.(".written");
    if (!note) {
      return;
    }
    for (const other of this.#notesOf(note.closest(".leaf"))) {
      this.#setStop(other, other === note);
      other.querySelector(":scope > .chosen")?.remove();
    }
    note.append(this.#boxOf(note));
    this.#say(note.getAttribute("aria-label"));
    const detail = { ref: note.dataset.ref };
    this.dispatchEvent(new CustomEvent("note-chosen", { bubbles: true, detail }));
  }

  // -- internals

  #notesOf(leaf) {
    return [...leaf.querySelectorAll(".written")];
  }

  /** Browsers scale an outline inside a picture each in their own way, so the box is drawn. */
  #boxOf(note) {
    const { x, y, width, height } = note.getBBox();
    const box = document.createElementNS(SVG, "rect");
    const sides = { x: x - MARGIN, y: y - MARGIN, width: width + 2 * MARGIN, height: height + 2 * MARGIN };
    for (const [name, size] of Object.entries(sides)) {
      box.setAttribute(name, String(Math.round(size)));
    }
    box.setAttribute("class", "chosen");
    return box;
  }

  #setStop(note, is) {
    note.setAttribute("tabindex", is ? "0" : "-1");
  }

  #say(words) {
    this.querySelector('[data-part="named"]').textContent = words;
  }
}

customElements.define("drill-sheet", DrillSheet);
