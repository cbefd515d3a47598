// The part of the recorder for camera and microphone: what is chosen, what they show, what they do
// to the sound. It asks for them and lets them go; it records nothing.

import { gettext } from "../translation.js";
import { AUDIO_BITS, letGo, Listener, streamOf } from "./capture.js";
import { asked, doneTo, isNarrow, named, saysAll, SIZES } from "./devices.js";
import { isKnown, judged, loudestOf, noted } from "./levels.js";
import { changedSaid, levelSaid, sizeSaid, TAKEN_AWAY, turnedSaid } from "./take-words.js";
import { whyNot } from "./capture-words.js";

const FALL = 0.93; // of the level, at each frame: a short sound is seen for a moment
const SLOW_MBIT_S = 1; // downwards, as far as a browser tells; upwards is seldom more
const SHOWN = "studio-recorder"; // what was chosen on this device

export class DevicesPanel {
  #root;
  #turned = () => {};
  #level = 0;
  #levels = [];
  #peak = 0;
  stream = null;
  listener = null;

  /** `turned(on)`: called when devices were turned on or off. */
  constructor(root, turned, signal) {
    this.#root = root;
    this.#turned = turned;
    this.#fill();
    this.#listen(signal);
  }

  get kind() {
    return this.#root.querySelector('[name="kind"]:checked').value;
  }

  get pictureBits() {
    return SIZES[this.#part("size").value].bits;
  }

  /** The loudest sample since this was asked last, 0 to 1. */
  takePeak() {
    const peak = this.#peak;
    this.#peak = 0;
    return peak;
  }

  // -- actions --------------------------------------------------------------------------------

  async begin() {
    this.#say("refused", "");
    this.end();
    try {
      this.stream = await streamOf(asked(this.#chosen, this.#turnsWithTheDevice));
      this.listener = new Listener(this.stream);
    } catch (error) {
      this.end();
      this.#say("refused", whyNot(error.name, this.kind));
      return;
    }
    for (const track of this.stream.getTracks()) track.onended = () => this.#lose(track);
    this.#show(true);
    this.#check();
    this.#offer(await named());
    this.#tick();
    this.#turned(true);
  }

  end() {
    this.listener?.close();
    letGo(this.stream);
    this.stream = this.listener = null;
    this.#show(false);
    this.#turned(false);
  }

  /** Unplugged, or taken by a call: what was recorded until then is kept. */
  #lose(track) {
    if (!this.stream?.getTracks().includes(track)) return;
    this.end();
    this.#say("refused", TAKEN_AWAY);
  }

  /** While it records, nothing may be changed. */
  lock(locked) {
    const controls = '[name="kind"], [name="way"], select, [data-part="begin"], [data-part="end"]';
    for (const control of this.#root.querySelector(".recorder-picture").querySelectorAll(controls)) {
      control.disabled = locked;
    }
  }

  // -- callbacks ------------------------------------------------------------------------------

  #listen(signal) {
    const on = (part, type, action) => this.#part(part).addEventListener(type, action, { signal });
    on("begin", "click", () => this.begin());
    on("end", "click", () => this.end());
    on("guided", "change", () => this.#guide());
    on("camera", "resize", () => this.#framed());
    this.#root.querySelector(".recorder-picture").addEventListener("change", ({ target }) => {
      if (target.matches('[name="kind"]')) this.#named();
      if (!target.matches('select, [name="kind"], [name="way"]')) return;
      this.#keep();
      if (this.stream) this.begin();
    }, { signal });
  }

  #tick() {
    const { listener } = this;
    if (!listener) return;
    const { level } = listener;
    this.#peak = Math.max(this.#peak, level);
    this.#level = Math.max(level, this.#level * FALL);
    this.#part("level").style.transform = `scaleX(${Math.min(1, Math.sqrt(this.#level))})`;
    this.#levels = noted(this.#levels, { ms: performance.now(), level });
    if (isKnown(this.#levels)) this.#write("level-words", levelSaid(judged(loudestOf(this.#levels))));
    requestAnimationFrame(() => this.listener === listener && this.#tick());
  }

  // -- what is shown --------------------------------------------------------------------------

  #show(on) {
    const picture = on && this.kind === "video";
    const camera = this.#part("camera");
    this.#part("begin").hidden = on;
    this.#part("end").hidden = this.#part("heard").hidden = !on;
    this.#part("frame").hidden = !picture;
    camera.srcObject = picture ? this.stream : null;
    if (picture) camera.play().catch(() => {});
    this.#levels = [];
    this.#write("level-words", on ? gettext("Play something, as loud as you will.") : "");
    if (!on) this.#say("changed", "");
    this.#named();
    this.#guide();
  }

  #named() {
    const picture = this.kind === "video";
    this.#write("begin", picture ? gettext("Turn on camera and microphone") : gettext("Turn on the microphone"));
    for (const part of this.#root.querySelectorAll("[data-of-picture]")) part.hidden = !picture;
  }

  /** The hand is on the other side in a mirror; a camera that looks away from the player shows none. */
  #guide() {
    const [track] = this.stream?.getVideoTracks() ?? [];
    const mirrored = track?.getSettings().facingMode !== "environment";
    this.#part("frame").toggleAttribute("data-mirrored", mirrored);
    this.#part("guide").hidden = !this.#part("guided").checked;
  }

  #framed() {
    const { videoWidth: width, videoHeight: height } = this.#part("camera");
    if (!width) return;
    const way = height > width ? "upright" : "across";
    this.#part("frame").dataset.way = way;
    this.#check(way === this.#chosen.way ? "" : turnedSaid(this.#chosen.way));
  }

  /** What the microphone's track says of itself counts, not what it was asked for. */
  #check(also = "") {
    const [track] = this.stream?.getAudioTracks() ?? [];
    const settings = track?.getSettings() ?? {};
    const said = changedSaid(doneTo(settings), { saysAll: saysAll(settings), isNarrow: isNarrow(settings) });
    this.#say("changed", [said, also].filter(Boolean).join(" "));
  }

  #offer({ cameras, microphones }) {
    const [picture] = this.stream?.getVideoTracks() ?? [];
    const [sound] = this.stream?.getAudioTracks() ?? [];
    offer(this.#part("cameras"), cameras, picture?.getSettings().deviceId);
    offer(this.#part("microphone"), microphones, sound?.getSettings().deviceId);
  }

  // -- internals ------------------------------------------------------------------------------

  get #chosen() {
    const value = (part) => this.#part(part).value;
    const way = this.#root.querySelector('[name="way"]:checked').value;
    return { kind: this.kind, camera: value("cameras"), microphone: value("microphone"), size: value("size"), way };
  }

  /** A phone's or tablet's camera; a computer's stands still, and its picture is cut to be upright. */
  get #turnsWithTheDevice() {
    return matchMedia("(pointer: coarse)").matches;
  }

  /** The size that suits the line, unless another was chosen on this device. */
  #fill() {
    const sizes = Object.entries(SIZES).map(([name, size]) => new Option(sizeSaid(name, size, AUDIO_BITS), name));
    this.#part("size").replaceChildren(...sizes);
    const { saveData, downlink } = navigator.connection ?? {};
    const slow = saveData || (downlink > 0 && downlink < SLOW_MBIT_S);
    const { kind, way, size = slow ? "small" : "usual" } = this.#kept();
    this.#part("size").value = size in SIZES ? size : "usual";
    for (const value of [kind, way].filter(Boolean)) this.#root.querySelector(`[value="${value}"]`).checked = true;
    this.#named();
  }

  #kept() {
    try {
      return JSON.parse(localStorage.getItem(SHOWN)) ?? {};
    } catch {
      return {};
    }
  }

  #keep() {
    const { kind, way, size } = this.#chosen;
    try {
      localStorage.setItem(SHOWN, JSON.stringify({ kind, way, size }));
    } catch {
      // then it is chosen anew the next time
    }
  }

  #say(part, sentence) {
    this.#write(part, sentence);
    this.#part(part).hidden = !sentence;
  }

  #write(part, text) {
    if (this.#part(part).textContent !== text) this.#part(part).textContent = text;
  }

  #part(name) {
    return this.#root.querySelector(`[data-part="${name}"]`);
  }
}

function offer(select, devices, present) {
  if (!devices.length) return;
  select.replaceChildren(...devices.map(({ id, name }) => new Option(name, id)));
  if (devices.some(({ id }) => id === present)) select.value = present;
}
