// "Do we hear you?": listens for the open strings and says which were heard. It stops once all were.

import { off, sounding, steady } from "./open-strings.js";
import { HEARD_ALL, stringSaid } from "./take-words.js";

const WINDOW = 32_768; // samples: 0.7 s, so that partials of two strings stand apart
const LOOK_MS = 200;
const LEAST_DB = -120;

export class StringsPanel {
  #root;
  #data;
  #heard = new Map(); // hz by string, from the lowest
  #looking = 0;

  /** `data`: {strings, a4_hz, tolerance_cents}. `said`: what is to be told aloud. */
  constructor(root, data, said) {
    this.#root = root;
    this.#data = data;
    this.said = said;
  }

  get all() {
    return this.#heard.size === this.#data.strings.length;
  }

  /** Listen to what a Listener listens to. */
  begin({ context, source }) {
    this.end();
    this.#root.hidden = false;
    const analyser = context.createAnalyser();
    Object.assign(analyser, { fftSize: WINDOW, smoothingTimeConstant: 0, minDecibels: LEAST_DB });
    source.connect(analyser);
    const levels = new Float32Array(analyser.frequencyBinCount);
    let before = [];
    this.#looking = setInterval(() => {
      analyser.getFloatFrequencyData(levels);
      const now = sounding(levels, context.sampleRate / WINDOW, this.#data.strings);
      for (const one of steady(before, now)) this.#hear(one);
      before = now;
    }, LOOK_MS);
  }

  end() {
    clearInterval(this.#looking);
  }

  #hear({ at, hz }) {
    const first = !this.#heard.has(at);
    this.#heard.set(at, hz);
    this.#show();
    if (!first) return;
    const { name } = this.#data.strings[at];
    this.said(this.all ? HEARD_ALL : `${name}: ${this.#words(at)}.`);
  }

  /** Where the studio has no A of its own, the A that is played tells what the others should be. */
  #words(at) {
    const { strings, a4_hz: own, tolerance_cents: tolerance } = this.#data;
    const a = strings.findIndex(({ name }) => name === "A");
    const there = own ? strings[a].equal : this.#heard.get(a);
    if (!there) return "heard";
    return stringSaid(off(strings[at], this.#heard.get(at), strings[a].equal, there), tolerance);
  }

  #show() {
    for (const [at, row] of [...this.#root.querySelectorAll("[data-string]")].entries()) {
      if (!this.#heard.has(at)) continue;
      const words = this.#words(at);
      if (row.textContent !== words) row.textContent = words;
      row.closest("li").toggleAttribute("data-heard", true);
    }
  }
}
