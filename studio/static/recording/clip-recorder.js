// <clip-recorder>: records takes in the page, keeps each in this browser until it is sent, and hands
// the one that is to be sent to <send-clip>, which sends it as any chosen file.

import { gettext } from "../translation.js";
import { DevicesPanel } from "./devices-panel.js";
import { DronePanel } from "./drone-panel.js";
import { StringsPanel } from "./strings-panel.js";
import { fileToSend } from "./take-file.js";
import { TakeRow } from "./take-row.js";
import { keepTake, remove, takesOf } from "./takes.js";
import { RunningTake } from "./running-take.js";
import * as words from "./take-words.js";
import { running } from "./capture-words.js";

const TICK_MS = 250;
const CHANGES = ["send", "delete", "cut", "whole"].map((what) => `[data-do="${what}"]`).join(", ");
const LEAST_ROOM_S = 300; // of recording; with less, it is said before

class ClipRecorder extends HTMLElement {
  #listening = null;
  #devices = null;
  #strings = null;
  #drone = null;
  #rows = [];
  #taking = null;
  #clock = 0;
  #next = 1;

  connectedCallback() {
    this.#listening = new AbortController();
    const { signal } = this.#listening;
    const data = JSON.parse(this.querySelector("#open-strings").textContent);
    const said = (sentence) => this.#say(sentence);
    this.#strings = new StringsPanel(this.#part("check"), data, said);
    this.#drone = new DronePanel(this, signal);
    this.#devices = new DevicesPanel(this, (on) => this.#turned(on), signal);
    this.#part("record").addEventListener("click", () => this.#record(), { signal });
    this.#part("stop").addEventListener("click", () => this.#taking?.stop(), { signal });
    window.addEventListener("beforeunload", (event) => this.#wouldLose && event.preventDefault(), { signal });
    window.addEventListener("pagehide", () => this.#drone.stop(), { signal });
    document.addEventListener("visibilitychange", () => document.hidden && this.#drone.stop(), { signal });
    this.#sending.hidden = true;
    this.#restore();
  }

  disconnectedCallback() {
    this.#listening.abort();
    this.#taking?.stop();
    this.#devices.end();
    this.#strings.end();
    this.#drone.close();
    clearInterval(this.#clock);
    for (const row of this.#rows) row.release();
  }

  // -- recording ------------------------------------------------------------------------------

  #record() {
    const { stream, kind, pictureBits } = this.#devices;
    const { whose, person, at: address } = this.dataset;
    if (!stream || this.#taking) return;
    for (const player of document.querySelectorAll("video[src], audio[src]")) player.pause();
    try {
      this.#taking = new RunningTake(stream, kind, pictureBits, { whose, person, address, number: this.#next });
    } catch {
      this.#say(gettext("This browser cannot record so. Choose sound alone, or send a file instead."));
      return;
    }
    this.#live(true);
    this.#say(gettext("Recording take %(number)s.", { number: this.#taking.take.number }));
    this.#clock = setInterval(() => this.#tick(), TICK_MS);
    this.#tick();
    this.#taking.ended.then((take) => this.#took(take));
  }

  #tick() {
    const most = Number(this.dataset.mostS);
    const { seconds } = this.#taking;
    this.#taking.heard(this.#devices.takePeak());
    this.#part("time").textContent = running(seconds, most);
    if (seconds >= most - 1) this.#taking.stop();
  }

  #took(take) {
    clearInterval(this.#clock);
    this.#taking = null;
    this.#live(false);
    if (!this.isConnected || !take.bytes) return;
    this.#add(take);
    const loud = take.clipped ? words.CLIPPED : "";
    this.#say([gettext("Take %(number)s is here, %(size)s.", { number: take.number, size: words.takeSaid(take) }), loud].filter(Boolean).join(" "));
  }

  /** What is shown while it records, and what may not be changed meanwhile. */
  #live(live) {
    const [record, stop] = [this.#part("record"), this.#part("stop")];
    record.hidden = live;
    stop.hidden = !live;
    (live ? stop : record).focus({ preventScroll: true });
    this.#devices.lock(live);
    this.toggleAttribute("data-recording", live);
    if (!live) this.#part("time").textContent = "";
  }

  #turned(on) {
    this.#part("record").disabled = this.#part("recording").hidden = !on;
    if (!on) {
      this.#strings.end();
      this.#taking?.stop();
      return;
    }
    if (!this.#strings.all) this.#strings.begin(this.#devices.listener);
    this.#say(gettext("Ready. Play your open strings first, then record."));
    this.#lookForRoom();
  }

  async #lookForRoom() {
    const { quota = Infinity, usage = 0 } = (await navigator.storage?.estimate?.().catch(() => null)) ?? {};
    const needed = (LEAST_ROOM_S * this.#devices.pictureBits) / 8;
    if (quota - usage < needed) {
      this.#say(gettext("This device has little room left. Choose the small picture, and delete takes that you "
        + "do not need."));
    }
  }

  // -- takes ----------------------------------------------------------------------------------

  /** What was recorded before; what was on its way when the page went is sent on by itself. */
  async #restore() {
    const takes = await takesOf(this.dataset.whose, this.dataset.at);
    if (!this.isConnected) return;
    for (const take of takes) this.#add(take);
    if (takes.length) this.#say(words.keptAndNow(takes.length));
    const [goesOn] = this.#rows.filter(({ take }) => take.sending);
    if (goesOn) await this.#send(goesOn, { now: true });
  }

  #add(take) {
    const does = {
      send: (row) => this.#send(row),
      remove: (row) => this.#remove(row),
      change: (row) => this.#change(row),
    };
    const row = new TakeRow(this.querySelector("template"), take, does);
    this.#rows.push(row);
    this.#part("takes").append(row.element);
    this.#next = Math.max(this.#next, take.number + 1);
    this.#part("record").textContent = gettext("Record take %(number)s", { number: this.#next });
    this.#count();
  }

  #change(row) {
    keepTake(row.take);
    if (row.element.hasAttribute("data-chosen")) this.#send(row);
  }

  async #remove(row) {
    if (row.element.hasAttribute("data-chosen")) this.#sending.hidden = true;
    await remove(row.take);
    row.release();
    this.#rows = this.#rows.filter((one) => one !== row);
    this.#count();
    this.#say(gettext("Take %(number)s was deleted.", { number: row.take.number }));
    this.#part("takes").querySelector("button")?.focus();
  }

  #count() {
    this.#part("none").hidden = this.#rows.length > 0;
    this.#part("others").hidden = this.#rows.length < 2;
  }

  // -- sending --------------------------------------------------------------------------------

  async #send(row, { now = false } = {}) {
    const file = await fileToSend(row.take);
    if (!file) {
      this.#say(gettext("This browser has lost that take."));
      return;
    }
    await customElements.whenDefined("send-clip");
    for (const one of this.#rows) one.chosen(one === row);
    this.#sending.hidden = false;
    const form = this.#sending.querySelector("send-clip");
    const taken = form.take(file, {
      key: row.take.key,
      isKept: row.take.kept,
      words: row.take.words,
      say: (said) => this.#keepWords(row, said),
      begins: () => this.#mark(row, true),
      ended: () => this.#mark(row, false),
      renewed: (key) => { row.take.key = key; keepTake(row.take); },
      arrived: () => this.#arrived(row),
    });
    if (!now) this.#sending.scrollIntoView({ block: "start" });
    await taken;
    if (now) form.send();
  }

  /** Whether it is on its way: should the page be killed now, the next one sends it on. */
  #mark(row, sending) {
    row.take.sending = sending;
    for (const { element } of this.#rows) {
      for (const button of element.querySelectorAll(CHANGES)) button.disabled = sending;
    }
    row.show();
    return keepTake(row.take);
  }

  /** What is typed of a take that is on its way is kept with it, and so outlasts a day. */
  async #keepWords(row, said) {
    row.take.words = said;
    return Boolean(row.take.kept) && (await keepTake(row.take)) !== undefined;
  }

  async #arrived(row) {
    const others = this.#part("forget-others").checked;
    const gone = this.#rows.filter((one) => one === row || others);
    await Promise.all(gone.map(({ take }) => remove(take)));
    this.#rows = this.#rows.filter((one) => !gone.includes(one));
  }

  // -- internals ------------------------------------------------------------------------------

  get #wouldLose() {
    return Boolean(this.#taking) || this.#rows.some(({ take }) => take.inHand);
  }

  get #sending() {
    return document.querySelector("#send-take");
  }

  #say(sentence) {
    this.#part("said").textContent = sentence;
  }

  #part(name) {
    return this.querySelector(`[data-part="${name}"]`);
  }
}

customElements.define("clip-recorder", ClipRecorder);
