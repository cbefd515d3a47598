// Replies at the desk: one thing sounds at a time; what is being prepared appears by itself; and
// the recorder is loaded when it is first asked for, or when something recorded waits to be sent.

import { takeTurns } from "../pages/turns.js";
import { gettext } from "../translation.js";
import { KEPT } from "./kept.js";

const ASK_MS = 2000;

export class Enclosing {
  #desk;
  #say;
  #asking = false;
  #signal;

  constructor(desk, say, signal) {
    this.#desk = desk;
    this.#say = say;
    this.#signal = signal;
    takeTurns(desk, desk.querySelector("clip-player video, clip-player audio"), signal);
    desk.addEventListener("toggle", (event) => this.#opened(event), { capture: true, signal });
    desk.addEventListener("desk:changed", () => this.#renewed(), { signal });
    desk.addEventListener("input", () => this.#tell(), { signal });
    desk.addEventListener("click", ({ target }) => "draw" in target.dataset && this.draw(target.form), { signal });
    this.#renewed();
  }

  /** Record a voice reply beside the comment that is being written, or stop recording it. */
  async reply() {
    const details = this.#desk.querySelector("#enclose-new");
    if (!details) return;
    if (!details.open) {
      details.open = true;
      details.querySelector("summary").focus();
    }
    details.scrollIntoView({ block: "nearest" });
    const recorder = details.querySelector("reply-recorder");
    if (recorder.toggle) return recorder.toggle(); // at once: the key after this one may send it
    await this.#load();
    return recorder.toggle?.();
  }

  /** Draw on the picture that stands, or go on with what a form holds already. */
  async draw(form) {
    const video = this.#desk.querySelector("clip-player video");
    if (!form?.elements.drawing) return;
    if (!video?.videoWidth) return void this.#say(gettext("There is no picture to draw on yet."));
    video.pause();
    const drawing = held(form) ?? { frame_s: video.currentTime, strokes: [] };
    try {
      const loaded = import("./still-drawing.js");
      await frameAt(video, drawing.frame_s);
      await loaded;
    } catch {
      return void this.#say(gettext("The drawing board could not be loaded. Press again."));
    }
    const board = this.#desk.querySelector("still-drawing") ?? document.createElement("still-drawing");
    if (!board.isConnected) this.#desk.append(board);
    board.open(form, video, drawing);
  }

  // -- callbacks ------------------------------------------------------------------------------

  #opened({ target }) {
    if (target.open && target.matches("details.enclose")) this.#load();
  }

  /** A button says whether something is drawn; a kept draft may have put it there. */
  #tell() {
    for (const button of this.#desk.querySelectorAll("[data-act='draw'], .enclose [data-draw]")) {
      const words = button.form.elements.drawing.value ? gettext("Edit the drawing") : gettext("Draw on this picture");
      if (button.textContent !== words) button.textContent = words;
    }
  }

  #renewed() {
    this.#tell();
    if (this.#waiting.length && !this.#asking) this.#ask();
    if (this.#keeps()) this.#load();
  }

  // -- internals ------------------------------------------------------------------------------

  async #load() {
    try {
      await import("./reply-recorder.js");
    } catch {
      this.#say(gettext("The recorder could not be loaded. You can choose a file all the same."));
    }
  }

  #keeps() {
    try {
      const { person, clip } = this.#desk.dataset;
      const begin = `${KEPT}${person}:${clip}:`;
      return Object.keys(localStorage).some((key) => key.startsWith(begin));
    } catch {
      return false; // a browser that keeps nothing has kept nothing
    }
  }

  get #waiting() {
    return [...this.#desk.querySelectorAll("[data-waits]")];
  }

  async #ask() {
    this.#asking = true;
    while (this.#waiting.length && !this.#signal.aborted) {
      await new Promise((resolve) => setTimeout(resolve, ASK_MS));
      const states = await this.#fetch(this.#desk.dataset.enclosures, "json");
      const moved = this.#waiting.some(({ dataset }) => !["waiting", "working"].includes(states?.[dataset.waits]));
      if (states && moved) await this.#refresh();
    }
    this.#asking = false;
  }

  /** The page as it is now holds the players of what has become ready. */
  async #refresh() {
    const html = await this.#fetch(location.pathname, "text");
    if (!html) return;
    const page = new DOMParser().parseFromString(html, "text/html");
    for (const old of this.#waiting) {
      const now = page.getElementById(old.id);
      if (now) old.replaceWith(document.adoptNode(now));
      else old.removeAttribute("data-waits");
    }
  }

  async #fetch(address, as) {
    try {
      const answer = await fetch(address, { signal: this.#signal });
      return answer.ok ? await answer[as]() : null;
    } catch {
      return null; // no connection: ask again later
    }
  }
}

/** What a form holds of a drawing, or null. */
function held(form) {
  try {
    return JSON.parse(form.elements.drawing.value || "null");
  } catch {
    return null;
  }
}

/** The frame at a time stands before the eyes; a seek to where it is already shows it exactly. */
function frameAt(video, seconds) {
  return new Promise((resolve) => {
    video.addEventListener("seeked", resolve, { once: true });
    video.currentTime = seconds;
  });
}
