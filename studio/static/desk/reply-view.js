// What a reply recorder shows: its parts, the level and the time that runs, the camera, what was
// recorded. It decides nothing.

import { gettext } from "../translation.js";
import { PARTS } from "./reply-parts.js";

const FALL = 0.93; // of the level, at each frame: a short sound is seen for a moment

export class ReplyView {
  #root;
  #address = ""; // of what can be heard
  #level = 0;

  constructor(root) {
    this.#root = root;
    if (!this.part("begin")) root.insertAdjacentHTML("afterbegin", PARTS);
  }

  part(name) {
    return this.#root.querySelector(`[data-part="${name}"]`);
  }

  /** What stands below the reply now. */
  get said() {
    return this.part("words").textContent;
  }

  say(sentence) {
    const line = this.part("words");
    if (line.textContent !== sentence) line.textContent = sentence;
  }

  /** "live" while it records, "made" with something recorded, "" before. */
  show(which) {
    for (const name of ["live", "made"]) this.part(name).hidden = name !== which;
    this.part("begin").hidden = which === "live";
    const [voice, video] = this.#root.querySelectorAll("[data-record]");
    voice.textContent = which === "made" ? gettext("Record voice again") : gettext("Record voice");
    video.textContent = which === "made" ? gettext("Record video again") : gettext("Record video");
    this.#level = 0;
  }

  /** The time in words, and how loud it is now, from 0 to 1. */
  running(time, level) {
    this.#level = Math.max(level, this.#level * FALL);
    if (this.part("time").textContent !== time) this.part("time").textContent = time;
    this.part("level").style.transform = `scaleX(${Math.min(1, Math.sqrt(this.#level))})`;
  }

  camera(stream) {
    const camera = this.part("camera");
    camera.hidden = !stream;
    camera.srcObject = stream;
    if (stream) camera.play().catch(() => {});
  }

  /** What was recorded or chosen, to be heard before it is sent; null where there is nothing. */
  made(file, described) {
    this.release();
    this.part("player").replaceChildren();
    if (file) this.part("player").append(this.#player(file));
    this.part("details").textContent = described;
    this.show(file ? "made" : "");
  }

  release() {
    URL.revokeObjectURL(this.#address);
  }

  #player(file) {
    const player = document.createElement(file.type.startsWith("video") ? "video" : "audio");
    this.#address = URL.createObjectURL(file);
    Object.assign(player, { controls: true, playsInline: true, src: this.#address });
    player.dataset.reply = "";
    player.setAttribute("aria-label", gettext("Your reply, before it is sent"));
    return player;
  }
}
