// <sound-picture>: the waveform and the two voices with their lift, over time. It draws what the
// ledger says; everything drawn has its row there. Emits "desk:press" { seconds }, "desk:span"
// { span, done } and "desk:point" { event }.

import { following, fitted, pxPerSecond, resized, whole, xOf, zoomed } from "./geometry.js";
import { glide } from "./glide.js";
import { fit, inkOf } from "./picture-canvas.js";
import { PictureData } from "./picture-data.js";
import { paintOver } from "./picture-over.js";
import { paint, scaleFor, visible } from "./picture-paint.js";
import { listen } from "./picture-pointer.js";

const ZOOM_STEP = 1.6;

export class SoundPicture extends HTMLElement {
  #aborter = null;
  #state = { moments: [], span: null, begun: null, pointed: null, seconds: 0 };
  #told = false;
  #stale = false;
  #stop = null; // of a glide under way

  connectedCallback() {
    this.#aborter = new AbortController();
    const { signal } = this.#aborter;
    this.base = this.querySelector(".base");
    this.over = this.querySelector(".over");
    const drawn = () => this.#redraw();
    this.#state.data = new PictureData((number) => this.fetchPart(number), drawn);
    this.#state.view = whole(Number(this.closest("clip-desk").dataset.duration), 300);
    const sizes = new ResizeObserver(() => this.#resize());
    sizes.observe(this);
    signal.addEventListener("abort", () => sizes.disconnect());
    const dark = matchMedia("(prefers-color-scheme: dark)");
    dark.addEventListener("change", () => this.#recolour(), { signal });
    listen(this.over, this, signal);
    this.#recolour();
    this.#resize();
  }

  disconnectedCallback() {
    this.#aborter.abort();
    this.#state.data.forget();
  }

  // -- actions --------------------------------------------------------------------------------

  get view() {
    return this.#state.view;
  }

  get height() {
    return this.#state.height;
  }

  get span() {
    return this.#state.span;
  }

  get events() {
    return this.#state.data.events;
  }

  /** How a part of the clip's document is fetched, by its number; whoever knows says so. */
  fetchPart = async () => null;

  /** The document of the whole clip (events, voices, outline). */
  hear(document) {
    this.#state.data.take(document);
    const { duration_s: duration } = document;
    if (duration > 0) this.#state.view = whole(duration, this.#state.view.width);
    this.#resize();
  }

  /** Marks and comments: [{ kind, start, end, choice }]. */
  annotate(moments) {
    this.#state.moments = moments;
    this.#redraw();
  }

  /** The play head; the view goes along where it follows. */
  place(seconds, follows) {
    this.#state.seconds = seconds;
    if (follows) {
      const next = following(this.view, seconds);
      if (next !== this.view && !this.#stop) this.#glideTo(next);
    }
    this.#redrawOver();
  }

  show(view) {
    this.#stop?.();
    this.#stop = null;
    this.#look(view);
  }

  reveal(start, end) {
    const { view } = this;
    if (start < view.from || end > view.to) {
      const wide = end - start > (view.to - view.from) * 0.8;
      this.#glideTo(wide ? fitted(view, start, end) : following(view, start));
    }
  }

  zoom(direction) {
    const { seconds } = this.#state;
    const x = xOf(this.view, seconds);
    const seen = x >= 0 && x <= this.view.width;
    const anchor = seen ? seconds : (this.view.from + this.view.to) / 2;
    this.show(zoomed(this.view, direction > 0 ? ZOOM_STEP : 1 / ZOOM_STEP, anchor));
  }

  showWhole() {
    this.show(whole(this.view.duration, this.view.width));
  }

  /** Where a span begins that has no end yet. */
  get begun() {
    return this.#state.begun;
  }

  begin(seconds) {
    this.#state.begun = seconds;
    this.#redrawOver();
    this.#emit("desk:span", { span: null, done: false });
  }

  select(span, done = true) {
    Object.assign(this.#state, { span, begun: null });
    this.#redrawOver();
    this.#emit("desk:span", { span, done });
  }

  highlight(eventId) {
    this.#state.pointed = this.events.find(({ id }) => id === eventId) ?? null;
    this.#redrawOver();
  }

  // -- callbacks of the pointer ----------------------------------------------------------------

  press(seconds) {
    this.#emit("desk:press", { seconds });
  }

  point(seconds) {
    const near = 3 / pxPerSecond(this.view);
    const under = (e) => e.start_s - near <= seconds && e.end_s + near >= seconds;
    const found = (seconds !== null && visible(this.#state).find(under)) || null;
    if (found === this.#state.pointed) return;
    this.#state.pointed = found;
    this.#redrawOver();
    this.#emit("desk:point", { event: found?.id ?? null });
  }

  // -- internals ------------------------------------------------------------------------------

  #resize() {
    const { clientWidth: width, clientHeight: height } = this;
    if (!width || !height) return;
    for (const canvas of [this.base, this.over]) fit(canvas, width, height);
    Object.assign(this.#state, { height, view: resized(this.view, width) });
    this.#state.scale = scaleFor(this.events, height, this.#state.data.strings.length);
    this.#redraw();
    this.#redrawOver();
  }

  #recolour() {
    this.#state.ink = inkOf(this);
    this.#redraw();
    this.#redrawOver();
  }

  #glideTo(target) {
    this.#stop?.();
    const show = (view) => this.#look(view);
    const done = () => (this.#stop = null);
    this.#stop = glide(this.view, target, show, done);
  }

  #look(view) {
    this.#state.view = view;
    this.#redraw();
    this.#redrawOver();
  }

  #redraw() {
    if (this.#stale || !this.#state.height || !this.#state.scale) return;
    this.#stale = true;
    requestAnimationFrame(() => {
      this.#stale = false;
      this.#state.data.want(this.view);
      paint(this.base.getContext("2d"), this.#state);
      this.#tell();
    });
  }

  /** For whoever measures how soon something was there to look at. */
  #tell() {
    if (this.#told || !this.events.length) return;
    this.#told = true;
    performance.mark("desk:drawn");
  }

  #redrawOver() {
    if (this.#state.height) paintOver(this.over.getContext("2d"), this.#state);
  }

  #emit(name, detail) {
    this.dispatchEvent(new CustomEvent(name, { bubbles: true, detail }));
  }
}

customElements.define("sound-picture", SoundPicture);
