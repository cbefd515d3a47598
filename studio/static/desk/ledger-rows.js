// The rows of the ledger by time and by event: an index over elements that say both in their data.

import { firstAfter } from "./geometry.js";

const SOUNDING_S = 0.15; // a row sounds this long after its end
const AT_ONCE = 4; // so many rows may sound together

export class Rows {
  #rows;
  #longest; // seconds

  constructor(elements = []) {
    this.#rows = elements.map((row) => ({ row, ...spanOf(row) })).sort((a, b) => a.start_s - b.start_s);
    this.#longest = this.#rows.reduce((most, { start_s: a, end_s: b }) => Math.max(most, b - a), 0);
  }

  /** The row that sounds at a time, or has only just ended; null where none does. */
  soundingAt(seconds) {
    const at = firstAfter(this.#rows, seconds - SOUNDING_S, this.#longest);
    const near = this.#rows.slice(at, at + AT_ONCE);
    return near.findLast(({ start_s: start }) => start <= seconds)?.row ?? null;
  }

  /** The row that a time is within, or null. */
  at(seconds) {
    const inside = ({ start_s: start, end_s: end }) => start <= seconds && seconds <= end;
    return this.#rows.findLast(inside)?.row ?? null;
  }

  /** The row of an event, or null. */
  of(eventId) {
    return this.#rows.find(({ event }) => event === eventId)?.row ?? null;
  }
}

/** What a row is about: { start_s, end_s, event }, the event null where it is none's. */
export function spanOf({ dataset }) {
  const event = dataset.event === undefined ? null : Number(dataset.event);
  return { start_s: Number(dataset.start), end_s: Number(dataset.end), event };
}
