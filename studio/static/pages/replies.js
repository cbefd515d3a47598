// Replies on a returned page: they and the clip take turns. With the switch on, which it never is
// by itself, the clip stops at a reply's moment, the reply plays, and the clip goes on.

import { gettext } from "../translation.js";
import { replyDue } from "./reply-times.js";
import { takeTurns } from "./turns.js";

export class Replies {
  #rows;
  #clip;
  #before = 0;
  #on = false;

  constructor(page, rows, clip, signal) {
    this.#rows = rows;
    this.#clip = clip;
    takeTurns(page, clip, signal);
    if (!clip) return;
    page.querySelector(".stage").append(this.#switch(signal));
    clip.addEventListener("timeupdate", () => this.#follow(), { signal });
    clip.addEventListener("seeked", () => { this.#before = clip.currentTime; }, { signal });
  }

  // -- callbacks

  #follow() {
    const { currentTime, paused, seeking } = this.#clip;
    const before = this.#before;
    this.#before = currentTime;
    if (!this.#on || paused || seeking) {
      return;
    }
    const moments = this.#rows.map((row) => ({
      start: Number(row.dataset.start),
      replies: row.querySelector("[data-reply]") !== null,
    }));
    const due = replyDue(moments, before, currentTime);
    if (due >= 0) {
      this.#play(this.#rows[due].querySelector("[data-reply]"));
    }
  }

  // -- internals

  async #play(reply) {
    this.#clip.pause();
    reply.currentTime = 0;
    reply.scrollIntoView({ block: "nearest" });
    const goOn = () => this.#on && this.#clip.play().catch(() => {});
    reply.addEventListener("ended", goOn, { once: true });
    try {
      await reply.play();
    } catch {
      reply.removeEventListener("ended", goOn); // the browser wants a press: it stands there paused
    }
  }

  #switch(signal) {
    const label = document.createElement("label");
    const box = Object.assign(document.createElement("input"), { type: "checkbox" });
    label.className = "for-replies";
    label.append(box, gettext("Stop for replies"));
    box.addEventListener("change", () => { this.#on = box.checked; }, { signal });
    return label;
  }
}
