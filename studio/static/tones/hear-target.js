// <hear-target>: a drill's double stops as tones, one after another at the listener's own pace, and
// a drone. Nothing sounds without a press, and everything falls silent when the page is left.
// Hears "note-chosen" { ref } from the page of music; bubbles "hear-step" { ref }.

import { belongsTo, nameOf } from "../desk/keys.js";
import { gettext } from "../translation.js";
import { HearPanel } from "./hear-panel.js";
import { Sounding } from "./sounding.js";
import { notes, placeOf, plan, stepped } from "./tones.js";
import { sounding } from "./words.js";

const KEYS = { n: "next", b: "back", a: "again", Escape: "stop" };

const TAP_S = 2; // a tapped note sounds so long
const ONE_TAP_MS = 400;

class HearTarget extends HTMLElement {
  #listening = null;
  #steps = [];
  #panel = null;
  #sound = new Sounding();
  #what = null; // "step" or "drone" while it sounds
  #place = 0;
  #tapped = { ref: null, at: 0 };

  connectedCallback() {
    this.#listening = new AbortController();
    const { signal } = this.#listening;
    const drill = JSON.parse(this.querySelector('script[type="application/json"]').textContent);
    this.#steps = drill.steps;
    this.#panel = new HearPanel(this, drill);
    this.addEventListener("click", (event) => this.#press(event), { signal });
    this.addEventListener("input", (event) => this.#change(event.target), { signal });
    this.addEventListener("keydown", (event) => this.#key(event), { signal });
    document.addEventListener("note-chosen", (event) => this.#choose(event.detail.ref), { signal });
    document.addEventListener("visibilitychange", () => document.hidden && this.stop(), { signal });
    window.addEventListener("pagehide", () => this.stop(), { signal });
    this.#show();
  }

  disconnectedCallback() {
    this.#listening.abort();
    this.#sound.close();
    this.#what = null;
  }

  // -- actions --------------------------------------------------------------------------------

  /** The present double stop, as often as asked. */
  again() {
    const { way, seconds } = this.#panel;
    const parts = plan(way, this.#step.notes.length, seconds);
    this.#begin("step", notes(parts, this.#panel.hzOf(this.#step)), sounding(this.#step, way));
  }

  /** On to the next (1) or back (-1), and hear it. */
  go(by) {
    this.#move(stepped(this.#place, by, this.#steps.length));
    this.again();
  }

  /** The drone begins, or ends. */
  drone() {
    if (this.#what === "drone") {
      this.stop();
      return;
    }
    this.#hold();
  }

  stop() {
    this.#sound.stop();
    this.#ended();
  }

  // -- callbacks ------------------------------------------------------------------------------

  #press(event) {
    this.#do(event.target.closest("[data-act]")?.dataset.act);
  }

  #key(event) {
    const { tagName: tag, type, isContentEditable: editable } = event.target;
    const name = nameOf(event);
    if (!KEYS[name] || (name !== "Escape" && belongsTo(name, { tag, type, editable }))) return;
    event.preventDefault();
    this.#do(KEYS[name]);
  }

  #do(act) {
    if (act === "next" || act === "back") this.go(act === "next" ? 1 : -1);
    if (act === "again") this.again();
    if (act === "stop") this.stop();
    if (act === "drone") this.drone();
    if (act === "true") {
      this.#panel.cents = 0;
      this.#retune();
    }
  }

  /** What is moved while it sounds is heard at once. */
  #change({ name, value }) {
    if (name === "hear-place") this.#move(Number(value));
    else if (name === "hear-loudness") this.#sound.loudness = this.#panel.gain;
    else if (name === "hear-way" && this.#what === "step") this.again();
    else if (name === "hear-drone" && this.#what === "drone") this.#hold();
    else this.#retune();
  }

  /** A note of the page was chosen: go there, silently unless a tap is to sound at once. */
  #choose(ref) {
    const place = placeOf(this.#steps, ref);
    if (place === null) return;
    if (place !== this.#place) this.#move(place);
    if ("taps" in this.dataset) this.#tap(ref);
  }

  /** The note that was tapped; of a double stop whose notes stand apart, that one alone. */
  #tap(ref) {
    const now = performance.now();
    const again = ref === this.#tapped.ref && now - this.#tapped.at < ONE_TAP_MS;
    this.#tapped = { ref, at: now };
    if (again) return; // a press is told twice: as the focus comes, and as it is pressed
    const { notes: names, parts } = this.#step;
    const voices = ref in parts ? [parts[ref]] : names.map((_, voice) => voice);
    const held = notes([{ voices, at: 0, seconds: TAP_S }], this.#panel.hzOf(this.#step));
    this.#begin("step", held, sounding(this.#step, "both"));
  }

  // -- internals ------------------------------------------------------------------------------

  #hold() {
    const { drone, droneHz } = this.#panel;
    const held = [{ voice: 0, hz: droneHz[0], at: 0, seconds: Infinity }];
    this.#begin("drone", held, gettext("Drone: %(note)s.", { note: drone.label }));
  }

  #begin(what, held, said) {
    this.#what = what;
    this.#sound.play(held, this.#panel.gain, () => this.#ended());
    this.#panel.say(said);
    this.#show();
  }

  #ended() {
    this.#what = null;
    this.#panel.say("");
    this.#show();
  }

  #retune() {
    const hz = this.#what === "drone" ? this.#panel.droneHz : this.#panel.hzOf(this.#step);
    this.#sound.retune(hz);
    this.#show();
  }

  #move(place) {
    if (this.#what === "step") this.stop();
    this.#place = place;
    this.#show();
    const detail = { ref: this.#step.ref };
    this.dispatchEvent(new CustomEvent("hear-step", { bubbles: true, detail }));
  }

  #show() {
    this.#panel.show(this.#place, this.#what);
  }

  get #step() {
    return this.#steps[this.#place];
  }
}

customElements.define("hear-target", HearTarget);
