// <clip-picture>: which picture of the clip is played, the full one, or the smaller one on a slow
// line. The page measures, the person can choose (kept on this device), and the place in the clip
// stays.

import { choose, pictureFor } from "./line.js";

const KEPT = "studio:picture";
const TRIED_BYTES = 49_152;
const TRIED_MS = 1500; // whoever has not brought so many bytes by then is slow
const STALLED_MS = 3000; // the full picture stands still for so long: the smaller one takes over

class ClipPicture extends HTMLElement {
  #aborter = null;
  #patience = 0;
  #own = false; // the person has chosen

  connectedCallback() {
    this.#aborter = new AbortController();
    const { signal } = this.#aborter;
    for (const link of this.#links) {
      link.addEventListener("click", (event) => this.#press(event, link.dataset.picture), { signal });
    }
    this.#player.addEventListener("waiting", () => this.#stalled(), { signal });
    for (const name of ["playing", "pause"]) {
      this.#player.addEventListener(name, () => clearTimeout(this.#patience), { signal });
    }
    this.#player.addEventListener("error", () => this.#broken(), { signal });
    this.#begin();
  }

  disconnectedCallback() {
    this.#aborter.abort();
    clearTimeout(this.#patience);
  }

  // -- actions

  async #begin() {
    const { small, full, fullRate } = this.#player.dataset;
    if (!small || !full) return this.#load(small ? "small" : "full");
    const asked = new URLSearchParams(location.search).get("picture");
    const found = choose({ ...seen(), kept: asked ?? kept(), fullRate: Number(fullRate) });
    this.#own = Boolean(asked ?? kept());
    const which = found ?? pictureFor(await tried(small), Number(fullRate));
    if (!this.#own || found) this.#load(which); // else the person was quicker
  }

  #press(event, which) {
    event.preventDefault();
    this.#own = true;
    keep(which);
    if (which !== this.#player.dataset.playing) this.#switch(which);
  }

  // -- callbacks

  #stalled() {
    const { small, playing } = this.#player.dataset;
    clearTimeout(this.#patience);
    if (this.#own || !small || playing !== "full") return;
    this.#patience = setTimeout(() => this.#switch("small"), STALLED_MS);
  }

  /** A browser that cannot play the smaller picture gets the full one, where there is one. */
  #broken() {
    const { full, playing } = this.#player.dataset;
    if (playing === "small" && full) this.#switch("full");
  }

  // -- internals

  get #player() {
    return this.querySelector("video");
  }

  get #links() {
    return this.querySelectorAll("[data-picture]");
  }

  /** Nothing is fetched before this; then the head of the file and its first picture. */
  #load(which) {
    const player = this.#player;
    if (player.dataset.playing !== which) player.src = player.dataset[which];
    if (which === "full") player.poster = player.dataset.poster;
    player.preload = "metadata";
    this.#show(which);
  }

  #switch(which) {
    const player = this.#player;
    const { currentTime, paused, playbackRate } = player;
    const back = () => {
      player.currentTime = currentTime;
      player.playbackRate = playbackRate;
    };
    player.addEventListener("loadedmetadata", back, { once: true });
    this.#load(which);
    if (!paused) player.play().catch(() => {}); // the browser wants a press: it stands there paused
  }

  #show(which) {
    this.#player.dataset.playing = which;
    for (const link of this.#links) {
      if (link.dataset.picture === which) link.setAttribute("aria-current", "true");
      else link.removeAttribute("aria-current");
    }
  }
}

function kept() {
  try {
    return localStorage.getItem(KEPT);
  } catch {
    return null; // storage is switched off
  }
}

function keep(which) {
  try {
    localStorage.setItem(KEPT, which);
  } catch {
    // the choice holds for this page alone
  }
}

/** What the browser knows of the line, and how the page's own files came. */
function seen() {
  const [page] = performance.getEntriesByType("navigation");
  const files = [page, ...performance.getEntriesByType("resource")].filter(Boolean);
  return {
    connection: navigator.connection,
    waitedMs: page ? page.responseStart - page.requestStart : 0,
    timings: files.map(({ transferSize, encodedBodySize, responseStart, responseEnd }) => ({
      bytes: transferSize > 0 ? encodedBodySize : 0,
      begun: responseStart,
      ended: responseEnd,
    })),
  };
}

/** Bits a second at which the beginning of a file comes. */
async function tried(address) {
  const stop = AbortSignal.timeout(TRIED_MS);
  const headers = { Range: `bytes=0-${TRIED_BYTES - 1}` };
  try {
    const answer = await fetch(address, { headers, signal: stop, cache: "no-store" });
    const begun = performance.now();
    const { byteLength } = await answer.arrayBuffer();
    return answer.ok ? (8000 * byteLength) / Math.max(performance.now() - begun, 1) : 0;
  } catch {
    return 0;
  }
}

customElements.define("clip-picture", ClipPicture);
