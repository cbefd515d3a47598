// <clip-moments>: a press on a moment plays from just before it; the moment being heard is
// marked; previous, play and next lie under the thumb.

import { decimal } from "../figures.js";
import { gettext } from "../translation.js";
import { covers, momentAt, neighbour } from "./moment-times.js";

const READY = 1; // HAVE_METADATA: a seek is possible from here on

class ClipMoments extends HTMLElement {
  #listening = null;
  #moments = [];
  #current = -1;
  #chosen = -1;

  connectedCallback() {
    this.#listening = new AbortController();
    const { signal } = this.#listening;
    this.#moments = this.#rows.map((row) => ({
      start: Number(row.dataset.start),
      until: Number(row.dataset.until),
      playFrom: Number(row.querySelector("[data-play-from]")?.dataset.playFrom ?? 0),
    }));
    this.addEventListener("click", (event) => this.#press(event), { signal });
    const player = this.#player;
    if (this.querySelector("[data-reply]")) {
      import("./replies.js").then(({ Replies }) => new Replies(this, this.#rows, player, signal));
    }
    if (!player) {
      return;
    }
    if (this.querySelector("[data-by-ear]")) {
      this.#offerByEar(player, signal);
    }
    player.addEventListener("timeupdate", () => this.#follow(), { signal });
    for (const type of ["play", "pause", "ended"]) {
      player.addEventListener(type, () => this.#showToggle(), { signal });
    }
  }

  disconnectedCallback() {
    this.#listening.abort();
  }

  // -- actions

  /** Once there is something to hear: on a slow line the recording comes first. */
  #offerByEar(player, signal) {
    const offer = () => import("./by-ear.js").then(({ ByEar }) => new ByEar(this, player, signal));
    if (player.readyState >= READY) {
      offer();
    } else {
      player.addEventListener("loadedmetadata", offer, { once: true, signal });
    }
  }

  #press(event) {
    const row = event.target.closest("[data-play-from]");
    const go = event.target.closest("[data-go]")?.dataset.go;
    if (row) {
      event.preventDefault(); // without this script the press loads the page at the moment
      this.#play(this.#rows.indexOf(row.closest("li")));
    } else if (go === "toggle") {
      this.#toggle();
    } else if (go) {
      const step = go === "next" ? 1 : -1;
      this.#play(neighbour(this.#moments, this.#player.currentTime, this.#current, step));
    }
  }

  #play(index) {
    const player = this.#player;
    const from = this.#moments[index].playFrom;
    this.#chosen = index;
    this.#mark(index);
    if (player.readyState >= READY) {
      player.currentTime = from;
    } else {
      player.addEventListener("loadedmetadata", () => { player.currentTime = from; }, { once: true });
    }
    this.#start();
  }

  #toggle() {
    if (this.#player.paused) {
      this.#start();
    } else {
      this.#player.pause();
    }
  }

  /** A play that is interrupted by the next press is refused by the browser; that is meant. */
  #start() {
    this.#player.play().catch((error) => {
      if (error.name !== "AbortError") {
        this.#showToggle();
      }
    });
  }

  // -- callbacks

  /** A moment that was pressed stays marked from its lead-in on, also where others sound first. */
  #follow() {
    const { seeking, currentTime } = this.#player;
    this.#move(currentTime);
    if (seeking) {
      return;
    }
    if (this.#chosen >= 0 && !covers(this.#moments[this.#chosen], currentTime)) {
      this.#chosen = -1;
    }
    this.#mark(this.#chosen >= 0 ? this.#chosen : momentAt(this.#moments, currentTime));
  }

  #showToggle() {
    const toggle = this.querySelector('[data-part="toggle"]');
    if (toggle) {
      toggle.textContent = this.#player.paused ? gettext("Play") : gettext("Pause");
    }
  }

  // -- internals

  /** The line that shows where the clip is. */
  #move(t) {
    const now = this.querySelector('[data-part="now"]');
    const { duration } = this.#player;
    if (now && duration > 0) {
      const place = `${decimal((100 * t) / duration, 2)}%`;
      now.setAttribute("x1", place);
      now.setAttribute("x2", place);
    }
  }

  #mark(index) {
    if (index === this.#current) {
      return;
    }
    this.#rows[this.#current]?.removeAttribute("aria-current");
    this.#current = index;
    const row = this.#rows[index];
    if (row) {
      row.setAttribute("aria-current", "true");
      const calm = window.matchMedia("(prefers-reduced-motion: reduce)").matches;
      row.scrollIntoView({ block: "nearest", behavior: calm ? "auto" : "smooth" });
    }
  }

  get #rows() {
    return [...this.querySelectorAll(".moments > li")];
  }

  get #player() {
    return this.querySelector("#player");
  }
}

customElements.define("clip-moments", ClipMoments);
