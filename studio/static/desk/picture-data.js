// What the sound picture is drawn from: the whole clip in little, then parts of it in detail, as
// they come near enough to be seen. The documents are described beside the server's code for them.

import { pxPerSecond } from "./geometry.js";
import { decode, decodePiece } from "./peaks.js";

const KINDS = { s: "single", d: "double_stop", c: "chord" };
const VERDICTS = { i: "in_tune", n: "near", o: "out", u: "unsure" };
const NEAR_PX_PER_S = 8; // farther away a track is narrower than its own line
const LOST = -128;
const REST_MS = 80; // a view that is passed through on the way to another is not asked for
const AGAIN_MS = 4000; // a part that did not come is asked for again, but not at once

export class PictureData {
  events = [];
  longest = 0; // seconds: no event is longer
  levels = null;
  strings = []; // their names from the highest down, where a drill says who plays on which
  pieces = new Map(); // of the fine outline, by the number of their part
  partS = 60;
  #byId = new Map();
  #asked = new Map(); // part → when it may be asked for again
  #rest = 0;
  #fetch;
  #arrived;

  /** fetchPart(number) gives a part or null; arrived() is called when there is more to draw. */
  constructor(fetchPart, arrived) {
    this.#fetch = fetchPart;
    this.#arrived = arrived;
  }

  take(whole) {
    this.events = eventsOf(whole.events);
    this.longest = this.events.reduce((most, { start_s: a, end_s: b }) => Math.max(most, b - a), 0);
    this.levels = decode(whole.outline);
    this.strings = whole.strings ?? [];
    this.partS = whole.part_s;
    this.pieces = new Map();
    this.#byId = new Map(this.events.map((event) => [event.id, event]));
    this.#asked = new Map();
  }

  /** Once the view rests, ask for the parts that it is near enough to show. */
  want(view) {
    clearTimeout(this.#rest);
    this.#rest = setTimeout(() => this.#ask(view), REST_MS);
  }

  /** Nothing is asked for any more. */
  forget() {
    clearTimeout(this.#rest);
  }

  #ask(view) {
    if (!this.#byId.size && !this.levels) return;
    for (const number of partsIn(view, this.partS, this.longest)) {
      if (performance.now() < (this.#asked.get(number) ?? -Infinity)) continue;
      this.#asked.set(number, Infinity);
      this.#bring(number);
    }
  }

  async #bring(number) {
    const asked = this.#asked; // another document may come meanwhile
    const part = await this.#fetch(number);
    if (!part) return asked.set(number, performance.now() + AGAIN_MS);
    if (asked !== this.#asked) return undefined;
    addTracks(this.#byId, part);
    const piece = decodePiece(part.outline);
    if (piece) this.pieces.set(number, piece);
    return this.#arrived();
  }
}

/** The parts that a view and the one after it show in detail; none from far away. */
export function partsIn(view, partS, longest = 0) {
  if (pxPerSecond(view) < NEAR_PX_PER_S) return [];
  const first = Math.floor(Math.max(view.from - longest, 0) / partS);
  const last = Math.ceil((2 * view.to - view.from) / partS) - 1;
  const most = Math.ceil(view.duration / partS) - 1;
  return Array.from({ length: Math.max(Math.min(last, most) - first + 1, 0) }, (_, n) => first + n);
}

/** Events in the order of their start, from the document's columns. */
export function eventsOf(columns) {
  let [id, start, voice] = [0, 0, 0];
  return columns.ids.map((step, n) => {
    id += step;
    start += columns.starts[n];
    const end = start + columns.lengths[n];
    const voices = Array.from({ length: columns.voices[n] }, () => {
      const [late, after] = columns.offsets.slice(2 * voice, 2 * voice + 2);
      const lift = columns.lifts[voice] / 10;
      const midi = columns.midis[voice];
      const place = { string: columns.strings?.[voice] ?? 0, finger: columns.fingers?.[voice] ?? -1 };
      voice += 1;
      return { ...place, midi, start_s: (start + late) / 1000, end_s: (end + after) / 1000, lift_cents: lift, track: null };
    });
    return {
      id,
      kind: KINDS[columns.kinds[n]],
      start_s: start / 1000,
      end_s: end / 1000,
      name: columns.names[columns.named[n]],
      verdict: VERDICTS[columns.verdicts[n]] ?? null,
      tolerance_cents: columns.tolerances[n],
      voices,
    };
  });
}

/** Puts a part's tracks to their voices. */
export function addTracks(byId, { tracks, cents }) {
  const steps = atob(cents);
  let [at, value] = [0, 0];
  for (const [id, place, start, step, count] of tracks) {
    const values = Array.from({ length: count }, () => {
      value = ((value + steps.charCodeAt(at)) << 24) >> 24; // a signed byte
      at += 1;
      return value === LOST ? null : value;
    });
    const voice = byId.get(id)?.voices[place];
    if (voice) voice.track = { start_s: start / 1000, step_s: step / 1000, cents: values };
  }
}
