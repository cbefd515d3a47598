// The controls of <hear-target>: what they say is chosen, and what is written beside them.

import { gettext } from "../translation.js";
import { atA4, beatHz, gainOf, mistuned } from "./tones.js";
import * as words from "./words.js";

export class HearPanel {
  #root;
  #drill;

  constructor(root, drill) {
    this.#root = root;
    this.#drill = drill;
    this.#fill();
  }

  // -- what is chosen -------------------------------------------------------------------------

  /** Frequencies of a step as chosen: tuning, A4 and mistuning. */
  hzOf({ hz, moves, notes }) {
    const there = this.#here(hz[this.#chosen("tuning")]);
    return notes.length === 2 ? mistuned(there, this.cents, moves) : there;
  }

  get drone() {
    return this.#drill.drones[Number(this.#chosen("drone"))];
  }

  get droneHz() {
    return this.#here([this.drone.hz[this.#chosen("tuning")]]);
  }

  get cents() {
    return Number(this.#chosen("cents"));
  }

  set cents(cents) {
    this.#control("cents").value = String(cents);
  }

  get way() {
    return this.#root.querySelector('[name="hear-way"]:checked').value;
  }

  get seconds() {
    return Number(this.#chosen("seconds")); // "Infinity" reads as it says
  }

  get gain() {
    return gainOf(Number(this.#chosen("loudness")));
  }

  // -- what is shown --------------------------------------------------------------------------

  /** `sounding` is "step", "drone" or null. */
  show(place, sounding) {
    const step = this.#drill.steps[place];
    const pair = step.notes.length === 2;
    const beats = step.beats ? beatHz(step.ratio, this.hzOf(step)) : null;
    this.#control("place").value = String(place);
    this.#write("where", words.place(step, place, this.#drill.steps.length));
    this.#write("notes", words.names(step));
    this.#write("size", words.size(step, this.#chosen("tuning")));
    this.#write("beats", pair ? words.beats(beats) : "");
    this.#write("mistuning", words.mistuning(this.cents));
    this.#control("cents").setAttribute("aria-valuetext", words.mistuning(this.cents));
    this.#part("ways").disabled = step.notes.length < 2;
    this.#part("mistune").disabled = !pair;
    this.#part("panel").dataset.sounding = sounding ?? "";
    this.#write("drone", sounding === "drone" ? gettext("Stop the drone") : gettext("Start the drone"));
  }

  say(text) {
    this.#write("said", text);
  }

  // -- internals ------------------------------------------------------------------------------

  /** While an A4 is being typed and cannot be meant, the drill's own counts. */
  #here(hz) {
    const control = this.#control("a4");
    const own = this.#drill.a4_hz;
    return atA4(hz, own, control.validity.valid && control.value ? Number(control.value) : own);
  }

  #fill() {
    const { steps, drones, tuning } = this.#drill;
    const name = (step) => gettext("Bar %(bar)s: %(notes)s", { bar: step.bar, notes: words.names(step) });
    const places = steps.map((step, at) => new Option(name(step), String(at)));
    this.#control("place").replaceChildren(...places);
    for (const group of this.#control("drone").children) {
      const open = group.dataset.group === "open";
      const rows = drones.map((drone, at) => [drone, String(at)]);
      const here = rows.filter(([drone]) => drone.open === open);
      group.replaceChildren(...here.map(([drone, at]) => new Option(drone.label, at)));
    }
    this.#control("tuning").value = tuning;
  }

  #chosen(name) {
    return this.#control(name).value;
  }

  #control(name) {
    return this.#root.querySelector(`#hear-${name}`);
  }

  /** Only what changes is written, so that nothing is read aloud twice. */
  #write(part, text) {
    const place = this.#part(part);
    if (place.textContent !== text) place.textContent = text;
  }

  #part(name) {
    return this.#root.querySelector(`[data-part="${name}"]`);
  }
}
