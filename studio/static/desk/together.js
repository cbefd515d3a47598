// <two-takes>: an earlier clip and the present one, played in step from moments that are chosen.

import { gettext } from "../translation.js";
import "./key-help.js";
import { place, signed } from "../figures.js";
import { InStep, SPEEDS } from "./in-step.js";
import { asked, handOnEarly, inForce, keysOf, onPage } from "./keys.js";

const PAGE = "together";
const NUDGE_S = 0.04;
const FRAME_S = 1 / 30;
const SOUNDS = ["now", "then", "neither"];
const HEARD = {
  now: gettext("Sound: now"),
  then: gettext("Sound: then"),
  neither: gettext("Sound: neither"),
};
const NAMES = { 0.25: "¼", 0.5: "½", 1: "1" };

class TwoTakes extends HTMLElement {
  #aborter = null;
  #step = null;
  #media = {};
  #begin = 0; // of the earlier one, in seconds
  #sound = "now";
  #keys = [];
  #help = null;
  #acts = {
    play: () => this.#toggle(),
    "both-back": () => this.#move(-1),
    "both-forward": () => this.#move(1),
    "frame-back": () => this.#frame(-FRAME_S),
    "frame-forward": () => this.#frame(FRAME_S),
    "both-slower": () => this.#speed(SPEEDS[Math.max(SPEEDS.indexOf(this.#step.speed) - 1, 0)]),
    "both-faster": () => this.#speed(SPEEDS[Math.min(SPEEDS.indexOf(this.#step.speed) + 1, 2)]),
    "then-back": () => this.#nudge(-NUDGE_S),
    "then-forward": () => this.#nudge(NUDGE_S),
    "begin-here": () => this.#beginHere(),
    "to-begin": () => this.#move(this.#begin - this.#step.seconds),
    sound: () => this.#hear(SOUNDS[(SOUNDS.indexOf(this.#sound) + 1) % SOUNDS.length]),
    "to-desk": () => document.querySelector("[data-go='to-desk']").click(),
    help: () => this.#help.toggle(),
  };

  connectedCallback() {
    this.#aborter = new AbortController();
    const { signal } = this.#aborter;
    this.#help = this.querySelector("key-help");
    for (const take of ["then", "now"]) {
      this.#media[take] = this.querySelector(`[data-take="${take}"] :is(video, audio)`);
      this.#media[take].removeAttribute("controls");
      this.#media[take].addEventListener("click", () => this.#toggle(), { signal });
      this.#media[take].addEventListener("error", () => this.#say(gettext("A recording could not be played. Load the page again.")), { signal });
    }
    this.#step = new InStep(this.#media.then, this.#media.now, { told: () => this.#show(), signal });
    this.addEventListener("click", (event) => this.#pressed(event), { signal });
    this.addEventListener("input", ({ target }) => this.#slid(target), { signal });
    this.addEventListener("desk:keys", ({ detail }) => this.#useKeys(detail.changed), { signal });
    document.addEventListener("keydown", (event) => this.#key(event), { signal });
    this.#useKeys(this.#help.changed);
    this.#hear(this.#sound);
    this.#speed(1);
    this.#show();
    this.dataset.ready = "";
    handOnEarly((event) => this.#key(event));
  }

  disconnectedCallback() {
    this.#aborter.abort();
  }

  // -- callbacks ------------------------------------------------------------------------------

  #key(event) {
    const act = asked(event, this.#keys);
    if (!this.#acts[act] || (this.#help.open && act !== "help")) return;
    event.preventDefault();
    if (!event.repeat || /back|forward/.test(act)) this.#acts[act]();
  }

  #pressed({ target }) {
    const { act, speed } = target.closest("[data-act], [data-speed]")?.dataset ?? {};
    if (speed) this.#speed(Number(speed));
    else if (act) this.#acts[act]?.();
  }

  #slid(slider) {
    const take = slider.dataset.place;
    if (take) this.#step.place(this.#media[take], Number(slider.value));
    this.#show();
  }

  // -- internals ------------------------------------------------------------------------------

  async #toggle() {
    if (this.#step.playing) this.#step.pause();
    else if (!(await this.#step.play())) this.#say(gettext("Press again to play."));
    this.#show();
  }

  #move(by) {
    this.#step.seek(this.#step.seconds + by);
    this.#show();
  }

  #frame(by) {
    this.#step.pause();
    this.#move(by);
  }

  /** The earlier one alone: it stands a little before, or after, where it stood. */
  #nudge(by) {
    const { then } = this.#media;
    const goesOn = this.#step.playing;
    this.#step.place(then, then.currentTime + by);
    if (goesOn) this.#toggle();
    this.#show();
  }

  #beginHere() {
    this.#begin = this.#step.seconds;
    this.#say(gettext("Both begin here."));
  }

  #speed(speed) {
    this.#step.setSpeed(speed);
    for (const button of this.querySelectorAll("[data-speed]")) {
      button.setAttribute("aria-pressed", Number(button.dataset.speed) === speed);
    }
    this.#say(gettext("Speed %(speed)s", { speed: NAMES[speed] }));
  }

  #hear(which) {
    this.#sound = which;
    for (const [take, media] of Object.entries(this.#media)) media.muted = take !== which;
    this.querySelector("[data-act='sound']").textContent = HEARD[which];
  }

  #show() {
    this.toggleAttribute("data-playing", this.#step.playing);
    this.querySelector("[data-act='play']").setAttribute("aria-label", this.#step.playing ? gettext("Pause") : gettext("Play"));
    for (const [take, media] of Object.entries(this.#media)) {
      const slider = this.querySelector(`[data-place="${take}"]`);
      if (media.duration) slider.max = media.duration;
      if (document.activeElement !== slider || this.#step.playing) slider.value = media.currentTime;
      this.querySelector(`[data-at="${take}"]`).textContent = place(media.currentTime, 1);
    }
    this.querySelector("[data-part='offset']").textContent = said(this.#step.offset);
  }

  #useKeys(changed) {
    this.#keys = onPage(inForce(changed), PAGE);
    for (const { act, keys } of this.#keys) {
      const button = this.querySelector(`[data-act="${act}"]`);
      if (button) button.title = gettext("Key: %(keys)s", { keys: keysOf({ keys }) });
    }
  }

  #say(words) {
    this.querySelector("[data-part='said']").textContent = words;
  }
}

/** How the places in the two recordings differ. */
const said = (offset) => gettext("Offset: %(seconds)s s.", { seconds: signed(offset, 2) });

customElements.define("two-takes", TwoTakes);
