// A note that stays, for headphones alone: what sounds in the room is recorded with the strings.
// So it asks first, once a page, and says why.

import { Sounding } from "../tones/sounding.js";
import { gainOf } from "../tones/tones.js";
import { gettext } from "../translation.js";

const LOUDNESS = 40; // of 100: in headphones, close to the ear

export class DronePanel {
  #root;
  #sound = new Sounding("play-and-record");
  #worn = false; // the headphones, as the player said

  constructor(root, signal) {
    this.#root = root;
    const on = (part, type, action) => this.#part(part).addEventListener(type, action, { signal });
    on("drone", "click", () => this.#press());
    on("drone-yes", "click", () => this.#answer(true));
    on("drone-no", "click", () => this.#answer(false));
    on("drone-note", "change", () => this.#sound.on && this.#sound.retune([this.#hz]));
  }

  stop() {
    this.#sound.stop();
    this.#part("drone").textContent = gettext("Start the drone");
  }

  close() {
    this.#sound.close();
  }

  #press() {
    if (this.#sound.on) {
      this.stop();
    } else if (this.#worn) {
      this.#start();
    } else {
      this.#part("drone-question").hidden = false;
      this.#part("drone-yes").focus();
    }
  }

  #answer(worn) {
    this.#worn = worn;
    this.#part("drone-question").hidden = true;
    this.#part("drone").focus();
    if (worn) this.#start();
  }

  #start() {
    const held = [{ voice: 0, hz: this.#hz, at: 0, seconds: Infinity }];
    this.#sound.play(held, gainOf(LOUDNESS), () => this.stop());
    this.#part("drone").textContent = gettext("Stop the drone");
  }

  get #hz() {
    return Number(this.#part("drone-note").value);
  }

  #part(name) {
    return this.#root.querySelector(`[data-part="${name}"]`);
  }
}
