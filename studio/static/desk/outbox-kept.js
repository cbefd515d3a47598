// What was pressed and is not with the server yet, kept by this browser: by person, clip and the
// page that it was pressed in. Words and choices are in localStorage, at once, so that a tab that is
// closed in the next moment loses nothing; recordings beside them in IndexedDB. A page takes on what
// a page that is gone has left; a page that lives holds a lock and sends its own.

import { forget, keep, kept } from "./kept-recordings.js";

const fileName = (key) => `act:${key}`;
const VERSION = "desk-version:"; // of this tab alone

export class KeptOutbox {
  #begin;
  #name;
  #version;
  #files = new Map(); // by the key of its act: { name, file }

  constructor({ person, clip }) {
    this.#begin = `desk-acts:${person}:${clip}:`;
    this.#version = `${VERSION}${person}:${clip}`;
    this.#name = this.#begin + crypto.randomUUID();
    navigator.locks?.request(this.#name, () => new Promise(() => {})); // as long as the page lives
  }

  /** The latest version of the review that this tab has seen; a page made before is behind it. */
  get version() {
    try {
      return Number(sessionStorage.getItem(this.#version));
    } catch {
      return 0; // a browser that keeps nothing has seen none
    }
  }

  /** The acts that wait, in their order, those refused and not let go of yet, and what stands. */
  write({ acts, refused, version }) {
    this.#saw(version);
    try {
      if (acts.length || refused.length) localStorage.setItem(this.#name, JSON.stringify({ acts, refused }));
      else localStorage.removeItem(this.#name);
    } catch {
      // a browser that keeps nothing sends what it has as long as the page stands
    }
  }

  /**
   * Hands what pages that are gone have left to `into`, which keeps it as this page's own: once at
   * the beginning, be it nothing, and again when a page ends that lives now and leaves something.
   * The page that was just reloaded is such a one: it may hold its lock for some moments yet.
   */
  async takeOn(into) {
    const [left, living] = await this.#others();
    this.#take(left, into);
    for (const name of living) {
      navigator.locks.request(name, () => {
        if (localStorage.getItem(name)) this.#take([name], into);
      });
    }
  }

  /** Keep what an act brings along; resolves once the browser has it. */
  async keepFile(key, name, file) {
    this.#files.set(key, { name, file });
    await keep(fileName(key), { name, file });
  }

  /** { name, file } of an act, null where the browser has lost it. */
  async fileOf(key) {
    return this.#files.get(key) ?? (await kept(fileName(key)));
  }

  forgetFile(key) {
    this.#files.delete(key);
    return forget(fileName(key));
  }

  #saw(version) {
    try {
      sessionStorage.setItem(this.#version, Math.max(version, this.version));
    } catch {
      // full, or forbidden: what waits is kept all the same, if it can be
    }
  }

  #take(names, into) {
    const left = names.map((name) => localStorage.getItem(name)).filter(Boolean); // none taken by another
    into(together(left.map((text) => JSON.parse(text))));
    for (const name of names) localStorage.removeItem(name);
  }

  /** The names under which pages that are gone, and pages that live, have something. */
  async #others() {
    try {
      const names = Object.keys(localStorage).filter((name) => name.startsWith(this.#begin));
      if (!names.length) return [[], []];
      const { held = [] } = (await navigator.locks?.query()) ?? {};
      const lives = new Set(held.map(({ name }) => name));
      const others = names.filter((name) => name !== this.#name);
      return [others.filter((name) => !lives.has(name)), others.filter((name) => lives.has(name))];
    } catch {
      return [[], []];
    }
  }
}

/** What several pages have left, as one. */
export function together(left) {
  return {
    acts: left.flatMap(({ acts }) => acts).sort((a, b) => a.when - b.when),
    refused: left.flatMap(({ refused }) => refused),
  };
}
