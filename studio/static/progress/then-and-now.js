// <then-and-now>: the same double stop in two recordings, one press each. Without a script each is
// a link to its clip at that moment. One sounds at a time; a second press ends it.

import { playSpan } from "../pages/span-player.js";

class ThenAndNow extends HTMLElement {
  #listening = null;
  #now = null; // { link, stop } while something sounds
  #media = new Map(); // an audio element for each recording

  connectedCallback() {
    this.#listening = new AbortController();
    const { signal } = this.#listening;
    this.addEventListener("click", (event) => this.#press(event), { signal });
    this.addEventListener("keydown", (event) => this.#key(event), { signal });
    window.addEventListener("pagehide", () => this.stop(), { signal });
    for (const link of this.querySelectorAll("[data-src]")) link.setAttribute("role", "button");
  }

  disconnectedCallback() {
    this.stop();
    this.#listening.abort();
  }

  // -- actions

  stop() {
    this.#now?.stop.abort();
    this.#now?.link.removeAttribute("aria-pressed");
    this.#now = null;
  }

  async #hear(link) {
    const again = this.#now?.link === link;
    this.stop();
    if (again) return;
    const now = { link, stop: new AbortController() };
    this.#now = now;
    link.setAttribute("aria-pressed", "true");
    const { src, start, end } = link.dataset;
    await playSpan(this.#of(src), [Number(start), Number(end)], now.stop.signal);
    if (this.#now === now) this.stop();
  }

  // -- callbacks

  #press(event) {
    const link = event.target.closest("[data-src]");
    if (!link || event.ctrlKey || event.metaKey || event.shiftKey) return;
    event.preventDefault();
    this.#hear(link);
  }

  /** A button is pressed by the space bar too. */
  #key(event) {
    const link = event.target.closest("[data-src]");
    if (event.key === "Escape") this.stop();
    if (event.key !== " " || !link) return;
    event.preventDefault();
    this.#hear(link);
  }

  // -- internals

  #of(src) {
    if (!this.#media.has(src)) {
      const media = Object.assign(document.createElement("audio"), { preload: "none" });
      media.setAttribute("src", src);
      this.#media.set(src, media);
    }
    return this.#media.get(src);
  }
}

customElements.define("then-and-now", ThenAndNow);
