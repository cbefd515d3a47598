// <still-drawing>: the dialog in which the teacher draws on the clip's picture, by pointer, touch
// or keys. What is drawn goes into a form's fields at every stroke, so that it is kept as they are.

import { gettext } from "../translation.js";
import { PARTS } from "./drawing-parts.js";
import { inside, labelAt, MOST_STROKES, moved, placeOf, saidOf, strokeOf } from "./strokes.js";
import { show } from "./strokes-svg.js";

const HOW = gettext("Draw over the picture, or press twice: where it begins, then where it ends.");

export class StillDrawing extends HTMLElement {
  #aborter = null;
  #form = null;
  #frame = 0;
  #aspect = 0.5625;
  #strokes = [];
  #points = []; // of the stroke under way
  #begun = null; // where an earlier press set its begin
  #cross = null; // shown once a key was used

  connectedCallback() {
    this.#aborter = new AbortController();
    const { signal } = this.#aborter;
    const dialog = document.createElement("dialog");
    dialog.className = "drawing-dialog";
    dialog.setAttribute("aria-labelledby", "draw-title");
    dialog.innerHTML = PARTS;
    this.replaceChildren(dialog);
    const on = (target, type, action) => target.addEventListener(type, action, { signal });
    on(this.#svg, "pointerdown", (event) => this.#down(event));
    on(this.#svg, "pointermove", (event) => this.#move(event));
    on(this.#svg, "pointerup", (event) => this.#up(event));
    on(this.#svg, "pointercancel", () => this.#cancel());
    on(this.#svg, "keydown", (event) => this.#key(event));
    on(this.#part("undo"), "click", () => this.#undo());
    on(this.#part("clear"), "click", () => this.#set([]));
    on(this.#part("discard"), "click", () => this.#discard());
    on(this.#part("shows"), "input", () => this.#write());
    on(dialog, "change", () => this.#tool());
    on(dialog, "keydown", (event) => event.stopPropagation()); // the desk's keys rest
    on(dialog.querySelector("form"), "submit", (event) => this.#finish(event));
  }

  disconnectedCallback() {
    this.#aborter.abort();
  }

  // -- actions --------------------------------------------------------------------------------

  /** Draw on what `video` shows; `form` has the fields drawing and drawing_words. */
  open(form, video, drawing) {
    this.#form = form;
    this.#frame = drawing.frame_s;
    this.#aspect = video.videoHeight / video.videoWidth;
    this.#cross = null;
    const canvas = this.querySelector("canvas");
    [canvas.width, canvas.height] = [video.videoWidth, video.videoHeight];
    canvas.getContext("2d").drawImage(video, 0, 0);
    this.#svg.setAttribute("viewBox", `0 0 1000 ${Math.round(1000 * this.#aspect)}`);
    this.#part("shows").value = form.elements.drawing_words.value;
    this.#strokes = drawing.strokes;
    this.#tool();
    this.#say(HOW);
    this.#paint();
    this.querySelector("dialog").showModal();
    this.#svg.focus();
  }

  // -- callbacks ------------------------------------------------------------------------------

  #down(event) {
    if (event.button) return;
    this.#svg.setPointerCapture(event.pointerId);
    this.#begun = this.#cross && this.#points.length ? this.#points[0] : null;
    this.#cross = null;
    this.#points = [this.#at(event)];
    if (this.#kind !== "label") return;
    this.#add(labelAt(this.#points[0], this.#part("label").value));
    this.#points = [];
  }

  #move(event) {
    if (!this.#points.length || this.#cross) return;
    for (const each of event.getCoalescedEvents?.() ?? [event]) this.#points.push(this.#at(each));
    this.#paint();
  }

  #up(event) {
    if (!this.#points.length || this.#cross) return;
    this.#points.push(this.#at(event));
    const stroke = strokeOf(this.#kind, this.#points);
    this.#points = [];
    if (stroke) this.#add(stroke);
    else this.#pressed(this.#at(event));
  }

  /** Without dragging: one press sets where a stroke begins, the next where it ends. */
  #pressed(point) {
    this.#cross = point;
    this.#points = this.#begun ? [this.#begun] : [];
    this.#enter();
  }

  #cancel() {
    this.#points = [];
    this.#paint();
  }

  #key(event) {
    const { key, shiftKey } = event;
    if (key.startsWith("Arrow")) this.#go(key, shiftKey);
    else if (key === "Enter" || key === " ") this.#enter();
    else if (key === "Backspace") this.#undo();
    else if (key === "Escape" && this.#points.length) this.#cancel();
    else return;
    event.preventDefault();
  }

  #go(key, fine) {
    this.#cross = moved(this.#cross ?? [0.5, this.#aspect / 2], key, fine, this.#aspect);
    this.#say(placeOf(this.#cross, this.#aspect));
    this.#paint();
  }

  /** The first Enter, or press, sets where it begins (an arrow's tail, a circle's middle), the second its end. */
  #enter() {
    this.#cross ??= [0.5, this.#aspect / 2];
    if (this.#kind === "label") return this.#add(labelAt(this.#cross, this.#part("label").value));
    this.#points.push(this.#cross);
    if (this.#points.length === 1) {
      this.#say(gettext("Begun at %(place)s. Press where it ends, or move the cross there and press Enter.", {
        place: placeOf(this.#cross, this.#aspect),
      }));
      return this.#paint();
    }
    const stroke = strokeOf(this.#kind, this.#points);
    this.#points = [];
    return this.#add(stroke);
  }

  #finish(event) {
    if (!this.#strokes.length || this.#part("shows").value.trim()) return;
    event.preventDefault();
    this.#say(gettext("Say in words what the drawing shows, for whoever cannot see it."));
    this.#part("shows").focus();
  }

  #discard() {
    this.#part("shows").value = "";
    this.#set([]);
    this.querySelector("dialog").close();
  }

  // -- internals ------------------------------------------------------------------------------

  #add(stroke) {
    const most = this.#strokes.length >= MOST_STROKES;
    if (stroke && !most) this.#set([...this.#strokes, stroke]);
    this.#say(saidOf(stroke, this.#kind, most));
  }

  #undo() {
    if (this.#points.length) return this.#cancel();
    this.#set(this.#strokes.slice(0, -1));
    return this.#say(gettext("Undone."));
  }

  #set(strokes) {
    this.#strokes = strokes;
    this.#points = [];
    this.#write();
    this.#paint();
  }

  /** Into the form's fields; whoever keeps forms hears of it as of any typing. */
  #write() {
    const { drawing, drawing_words: words } = this.#form.elements;
    const drawn = { frame_s: this.#frame, strokes: this.#strokes };
    drawing.value = this.#strokes.length ? JSON.stringify(drawn) : "";
    words.value = this.#part("shows").value;
    drawing.dispatchEvent(new Event("input", { bubbles: true }));
  }

  #paint() {
    const way = this.#cross && this.#points.length ? [...this.#points, this.#cross] : this.#points;
    const begun = way.length > 1 ? strokeOf(this.#kind, way) : null;
    show(this.#svg, begun ? [...this.#strokes, begun] : this.#strokes, this.#cross);
    this.#part("undo").disabled = !this.#strokes.length && !this.#points.length;
    this.#part("clear").disabled = !this.#strokes.length;
  }

  #tool() {
    this.#part("label-row").hidden = this.#kind !== "label";
    this.#cancel();
  }

  #at({ clientX, clientY }) {
    const { left, top, width } = this.#svg.getBoundingClientRect();
    return inside([(clientX - left) / width, (clientY - top) / width], this.#aspect);
  }

  #say(sentence) {
    this.#part("words").textContent = sentence;
  }

  #part(name) {
    return this.querySelector(`[data-part="${name}"]`);
  }

  get #kind() {
    return this.querySelector("[name='tool']:checked").value;
  }

  get #svg() {
    return this.querySelector("svg.strokes");
  }
}

customElements.define("still-drawing", StillDrawing);
