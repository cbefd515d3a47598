// <lesson-order>: the open lessons of a round, put in another order by dragging a grip or by the
// arrow keys on it. The list moves at once; the order is posted when the pointer lets go, or a
// moment after the last key. Without script the buttons of each row do the same.

import { gettext } from "../translation.js";
import { moved, placeAt, placeByKey } from "./order.js";

const SETTLE_MS = 600; // after the last key: several presses make one change
const SHOWN_ANYWAY = [409, 422]; // refused, with a page that says why

class LessonOrder extends HTMLElement {
  #listening = null;
  #timer = 0;
  #before = null;

  connectedCallback() {
    this.#listening = new AbortController();
    const { signal } = this.#listening;
    for (const grip of this.querySelectorAll('[data-part="grip"]')) {
      grip.hidden = false;
    }
    this.addEventListener("pointerdown", (event) => this.#take(event), { signal });
    this.addEventListener("keydown", (event) => this.#key(event), { signal });
    this.addEventListener("focusout", () => this.#timer && this.#send(), { signal });
    this.addEventListener("submit", (event) => this.#stopAtEdge(event), { signal, capture: true });
  }

  disconnectedCallback() {
    clearTimeout(this.#timer);
    this.#listening.abort();
  }

  // -- actions

  #take(event) {
    const grip = event.target.closest('[data-part="grip"]');
    if (!grip || event.button !== 0 || this.#isSending()) {
      return;
    }
    event.preventDefault();
    grip.focus();
    const row = grip.closest("[data-lesson]");
    const dragging = new AbortController();
    const options = { signal: AbortSignal.any([dragging.signal, this.#listening.signal]) };
    this.#begin(row);
    const end = (keep) => {
      dragging.abort();
      if (keep) this.#send();
      else this.#restore();
    };
    grip.setPointerCapture(event.pointerId);
    grip.addEventListener("pointermove", (at) => this.#drag(row, at.clientY), options);
    grip.addEventListener("pointerup", () => end(true), options);
    grip.addEventListener("pointercancel", () => end(false), options);
    this.addEventListener("keydown", (pressed) => pressed.key === "Escape" && end(false), options);
  }

  #key(event) {
    const grip = event.target.closest('[data-part="grip"]');
    const row = grip?.closest("[data-lesson]");
    const rows = this.#rows();
    const to = row ? placeByKey(event.key, rows.indexOf(row), rows.length) : null;
    if (to === null || event.ctrlKey || event.metaKey || this.#isSending()) {
      return;
    }
    event.preventDefault();
    this.#begin(row);
    this.#put(row, to);
    clearTimeout(this.#timer);
    this.#timer = setTimeout(() => this.#send(), SETTLE_MS);
  }

  // A button at the edge says that it does nothing, and so it does.
  #stopAtEdge(event) {
    if (event.submitter?.getAttribute("aria-disabled") === "true") {
      event.preventDefault();
      event.stopPropagation();
    }
  }

  // -- internals

  #rows() {
    return [...this.querySelectorAll("[data-lesson]")];
  }

  #isSending() {
    return this.hasAttribute("aria-busy");
  }

  #begin(row) {
    this.#before ??= this.#rows();
    row.toggleAttribute("data-moving", true);
  }

  #drag(row, y) {
    const rows = this.#rows();
    const to = placeAt(y, rows.map((other) => other.getBoundingClientRect().bottom));
    if (to !== rows.indexOf(row)) {
      this.#put(row, to);
    }
  }

  #put(row, to) {
    const rows = this.#rows();
    this.#show(moved(rows, rows.indexOf(row), to));
    say(gettext("%(lesson)s: place %(place)s of %(count)s", {
      lesson: row.querySelector("b").textContent,
      place: to + 1,
      count: rows.length,
    }));
  }

  // Days and numbers belong to places, not to keys: they stay while the keys move.
  #show(order) {
    for (const part of ["number", "day"]) {
      const texts = this.#rows().map((row) => row.querySelector(`[data-part="${part}"]`).textContent);
      order.forEach((row, place) => {
        row.querySelector(`[data-part="${part}"]`).textContent = texts[place];
      });
    }
    // The row in hand never leaves the page, so that it keeps pointer and focus.
    const inHand = this.querySelector("[data-moving]");
    const place = order.indexOf(inHand);
    inHand.before(...order.slice(0, place));
    inHand.after(...order.slice(place + 1));
  }

  #restore() {
    if (this.#before) {
      this.#show(this.#before);
    }
    this.#settle();
  }

  #settle() {
    clearTimeout(this.#timer);
    this.#timer = 0;
    this.#before = null;
    this.#rows().forEach((row) => row.removeAttribute("data-moving"));
  }

  #send() {
    const rows = this.#rows();
    const same = this.#before?.every((row, place) => row === rows[place]) ?? true;
    this.#settle();
    if (same || this.#isSending()) {
      return;
    }
    this.setAttribute("aria-busy", "true");
    const form = this.querySelector('[data-part="order"]');
    const fields = rows.map((row) => {
      const field = document.createElement("input");
      Object.assign(field, { type: "hidden", name: "lesson", value: row.dataset.lesson });
      return field;
    });
    form.append(...fields);
    form.requestSubmit();
  }
}

// One line for screen readers that outlives the parts of the page that are exchanged.
const line = document.createElement("p");
line.className = "out-of-sight";
line.setAttribute("role", "status");
document.body.append(line);

function say(words) {
  line.textContent = words;
}

// What comes above the round that is being put in order (a sentence that says it is done) must not push
// it away from under the hand: the page is scrolled by as much.
let round = null;
const roundOf = (element) => element?.closest("section[aria-labelledby]");

document.addEventListener("htmx:beforeSwap", ({ detail }) => {
  const section = roundOf(document.activeElement?.closest("lesson-order"));
  round = section && { id: section.getAttribute("aria-labelledby"), top: section.getBoundingClientRect().top };
  if (SHOWN_ANYWAY.includes(detail.xhr.status)) {
    Object.assign(detail, { shouldSwap: true, isError: false });
  }
});
document.addEventListener("htmx:afterSwap", () => {
  const section = round && roundOf(document.getElementById(round.id));
  if (section) scrollBy({ top: section.getBoundingClientRect().top - round.top, behavior: "instant" });
  round = null;
});
document.addEventListener("htmx:afterSettle", () => {
  say(document.querySelector("#main .messages li, #main [role='alert']")?.textContent ?? "");
});

customElements.define("lesson-order", LessonOrder);
