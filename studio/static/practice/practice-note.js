// <practice-note>: the form in which practice is noted, with a timer. What is pressed is kept on this
// device first and goes from there (<waiting-entries>), so that no bad line loses it or doubles it.

import { newKey } from "../pages/server.js";
import { keepEntry } from "./kept-here.js";
import { Timer } from "./timer.js";

const MINUTE_MS = 60_000;
const MOST_MINUTES = 240; // of one entry, as the studio takes it

class PracticeNote extends HTMLElement {
  #gone = new AbortController();
  #timer;

  connectedCallback() {
    const { signal } = this.#gone;
    const parts = named(this, "part", (each) => each);
    const words = named(this, "words", (each) => each.content.textContent.trim());
    this.#timer = new Timer(this.dataset, parts, words, this.dataset.to, (...all) => this.#fill(...all));
    this.#timer.begin(signal);
    const fold = this.closest("details");
    if (fold && this.#timer.isBegun) fold.open = true;
    this.#begin();
    this.addEventListener("input", () => (this.dataset.touched = ""), { signal });
    this.#form.addEventListener("submit", (event) => this.#submit(event), { signal });
  }

  disconnectedCallback() {
    this.#gone.abort();
  }

  get #form() {
    return this.querySelector("form");
  }

  /**
   * A key of its own, since a copy that is shown without a line has the same one each time; and the
   * day where this device is, unless another was chosen: the studio may be in another zone.
   */
  #begin() {
    const { day, form_key: key } = this.#form.elements;
    key.value = newKey();
    if (day.value === this.dataset.today) day.value = today();
  }

  /** The timer ended: its minutes stand in the form, to be changed or noted. */
  #fill(minutes, unbroken) {
    const { elements } = this.#form;
    const fits = minutes <= MOST_MINUTES;
    elements.minutes.value = fits ? minutes : "";
    elements.unbroken_min.value = fits ? unbroken : "";
    elements.minutes.setCustomValidity("");
    this.dataset.touched = "";
    const rest = this.querySelector('[data-part="rest"]');
    if (!fits) rest.textContent = this.querySelector('[data-words="too-long"]').content.textContent;
    elements.minutes.focus();
  }

  #submit(event) {
    const waiting = document.querySelector(`waiting-entries[data-place="${this.dataset.place}"]`);
    if (this.dataset.plainly !== undefined || !waiting?.take) return; // as without a script
    const fields = Object.fromEntries(new FormData(this.#form));
    delete fields.csrfmiddlewaretoken;
    const { person, place, to } = this.dataset;
    if (!keepEntry(person, fields.form_key, { at: to, place, fields, noted: Date.now() })) return;
    event.preventDefault();
    waiting.take(fields.form_key, (outcome) => this.#ended(outcome, fields));
  }

  /** `outcome`: {next} once it has arrived, "refused", or "waits". */
  #ended(outcome, fields) {
    if (outcome === "refused") {
      this.dataset.plainly = "";
      this.#form.requestSubmit(); // the page itself says what is wrong, beside each field
      return;
    }
    this.#timer.clear();
    delete this.dataset.touched;
    if (outcome.next) {
      location.assign(outcome.next);
      return;
    }
    this.#caution(fields);
    this.#form.reset();
    this.#begin();
  }

  /** Without a line the caution comes from the page itself. */
  #caution({ hand, unbroken_min: unbroken }) {
    const isLong = Number(unbroken) > Number(this.dataset.longMin);
    const reason = hand === "hurt" ? "hurt" : isLong ? "long" : "";
    const notice = this.querySelector('[data-part="caution"]');
    notice.hidden = !reason;
    const said = reason && this.querySelector(`template[data-caution="${reason}"]`).content.cloneNode(true);
    notice.replaceChildren(...(said ? [said] : []));
  }
}

function today() {
  const now = new Date();
  return new Date(now - now.getTimezoneOffset() * MINUTE_MS).toISOString().slice(0, 10);
}

function named(element, name, value) {
  const found = element.querySelectorAll(`[data-${name}]`);
  return Object.fromEntries([...found].map((each) => [each.dataset[name], value(each)]));
}

customElements.define("practice-note", PracticeNote);
