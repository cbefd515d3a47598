// A moment of a returned clip by ear: as it was played, in tune, both in turn, and the same double
// stop in an earlier clip. The tones have the frequencies that were frozen with the return, and the
// recording's own loudness. One thing sounds at a time; at half speed the pitch stays.

import { Sounding } from "../tones/sounding.js";
import { gainsAt } from "../tones/tones.js";
import { gettext } from "../translation.js";
import { playSpan } from "./span-player.js";

const SHORTEST_S = 1.5; // a tone in tune lasts as long as what was played, within these
const LONGEST_S = 6;
const HALF = 0.5;

/** The notes of a moment in tune, as `Sounding` plays them. */
export function inTune({ hz, levels, start, end }, rate = 1, volume = 1) {
  const seconds = Math.min(Math.max(end - start, SHORTEST_S), LONGEST_S) / rate;
  const gains = gainsAt(hz, levels);
  return hz.map((f, voice) => ({ voice, hz: f, at: 0, seconds, gain: gains[voice] * volume }));
}

export class ByEar {
  #page;
  #player;
  #before = null; // the recording of an earlier clip
  #sound = new Sounding();
  #now = null; // { button, stop } while something sounds
  #said;

  constructor(page, player, signal) {
    this.#page = page;
    this.#player = player;
    this.#said = Object.assign(document.createElement("p"), { className: "out-of-sight" });
    this.#said.setAttribute("role", "status");
    page.append(this.#said);
    page.querySelector(".stage").append(this.#half(signal));
    page.addEventListener("click", (event) => this.#press(event), { signal });
    page.addEventListener("keydown", ({ key }) => key === "Escape" && this.stop(), { signal });
    page.addEventListener("play", ({ target }) => this.#other(target), { capture: true, signal });
    window.addEventListener("pagehide", () => this.stop(), { signal });
    signal.addEventListener("abort", () => this.#close());
    for (const part of page.querySelectorAll("[data-by-ear]")) part.hidden = false;
  }

  // -- actions

  stop() {
    this.#now?.stop.abort();
    this.#end();
  }

  /** Begin what a button says; a second press on it ends it. */
  async #hear(button) {
    const again = this.#now?.button === button;
    this.stop();
    if (again) return;
    const now = { button, stop: new AbortController() };
    this.#now = now;
    button.setAttribute("aria-pressed", "true");
    for (const media of this.#page.querySelectorAll("audio, video")) media.pause();
    const moment = JSON.parse(button.closest("[data-by-ear]").dataset.byEar);
    await this.#play(button.dataset.hear, moment, now.stop.signal);
    if (this.#now === now) this.#end();
  }

  async #play(what, moment, signal) {
    const { start, end, then } = moment;
    if (what === "then") return this.#then(then, signal);
    if (what === "now") return this.#span(this.#player, then.now, gettext("Now."), signal);
    const alone = what === "tune";
    if (!alone && !(await this.#span(this.#player, [start, end], gettext("As it was played."), signal))) return;
    if (what !== "played") await this.#tune(moment, signal);
  }

  // -- callbacks

  #press({ target }) {
    const button = target.closest("[data-hear]");
    if (button) this.#hear(button);
  }

  /** Somebody let something else play: what sounds here gives way. */
  #other(media) {
    if (this.#now && media !== this.#now.media) this.stop();
  }

  // -- internals

  #span(media, span, said, signal) {
    this.#say(said);
    this.#now.media = media;
    return playSpan(media, span, signal);
  }

  #then({ src, start, end }, signal) {
    if (this.#before?.getAttribute("src") !== src) {
      this.#before = Object.assign(document.createElement("audio"), { preload: "none" });
      this.#before.setAttribute("src", src);
    }
    this.#before.playbackRate = this.#player.playbackRate;
    this.#before.volume = this.#player.volume;
    this.#before.muted = this.#player.muted;
    return this.#span(this.#before, [start, end], gettext("Then."), signal);
  }

  #tune(moment, signal) {
    const { playbackRate, volume, muted } = this.#player;
    this.#now.media = null;
    this.#say(gettext("In tune: %(name)s.", { name: moment.name }));
    return new Promise((done) => {
      signal.addEventListener("abort", () => { this.#sound.stop(); done(); }, { once: true });
      this.#sound.play(inTune(moment, playbackRate, muted ? 0 : volume), 1, done);
    });
  }

  #end() {
    this.#now?.button.removeAttribute("aria-pressed");
    this.#now = null;
    this.#say("");
  }

  #close() {
    this.stop();
    this.#sound.close();
  }

  #half(signal) {
    const label = Object.assign(document.createElement("label"), { className: "for-replies" });
    const box = Object.assign(document.createElement("input"), { type: "checkbox" });
    const turn = () => {
      this.#player.defaultPlaybackRate = box.checked ? HALF : 1; // another picture keeps it
      this.#player.playbackRate = box.checked ? HALF : 1;
    };
    label.append(box, gettext("Half speed"));
    box.addEventListener("change", turn, { signal });
    return label;
  }

  #say(text) {
    this.#said.textContent = text;
  }
}
