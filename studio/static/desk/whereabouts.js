// Where a teacher is in a clip: the selected mark or row and the time, kept in this browser, so that
// coming back from the preview, or tomorrow, goes on from there.

export class Whereabouts {
  #name;
  #now;

  /** now(): { mark, row, seconds } */
  constructor({ person, clip }, now, signal) {
    this.#name = `desk-at:${person}:${clip}`;
    this.#now = now;
    addEventListener("pagehide", () => this.keep(), { signal });
    document.addEventListener("visibilitychange", () => document.hidden && this.keep(), { signal });
  }

  keep() {
    try {
      localStorage.setItem(this.#name, JSON.stringify(this.#now()));
    } catch {
      // a browser that keeps nothing begins anew
    }
  }

  /** { mark, row, seconds } of before, or null. */
  get before() {
    try {
      return JSON.parse(localStorage.getItem(this.#name));
    } catch {
      return null;
    }
  }
}
