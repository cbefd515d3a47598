// <kept-clips>: the recordings of a person (and child) that wait on this device: chosen files that
// found no line, and takes that were on their way. They are sent one after another.

import { megabytes, percent } from "../figures.js";
import { Server } from "../pages/server.js";
import { amount, inWords } from "../pages/standing.js";
import { Upload } from "../pages/upload.js";
import { gettext } from "../translation.js";
import { holdSending, isBeingSent } from "./sending-lock.js";
import { waitingOf } from "./unsent-recordings.js";

const ELSEWHERE = gettext("Another window of this browser is sending it.");

class KeptClips extends HTMLElement {
  #gone = new AbortController();

  connectedCallback() {
    this.#begin();
  }

  disconnectedCallback() {
    this.#gone.abort();
  }

  async #begin() {
    const waiting = await waitingOf(this.dataset);
    if (!this.isConnected || !waiting.length) return;
    this.hidden = false;
    const bytes = waiting.reduce((sum, one) => sum + one.bytes, 0);
    this.#part("room").textContent = gettext("%(size)s of this device. Sending goes on by itself when "
      + "there is a line.", { size: megabytes(bytes) });
    if (waiting.some(({ isTake }) => isTake)) hideTheNotice();
    const rows = waiting.map((one) => this.#row(one));
    let next = null;
    for (const row of rows) next = (await this.#send(row)) ?? next;
    if (next && !isChoosing()) location.assign(next);
  }

  /** Send one; where to go once it has arrived. */
  async #send({ one, of, isRemoved }) {
    if (one.refused || isRemoved()) return null;
    if (await isBeingSent(one.key)) {
      of("words").textContent = ELSEWHERE;
      return null;
    }
    const file = await one.file();
    if (!file) {
      of("words").textContent = gettext("This browser has lost it.");
      return null;
    }
    const letGo = holdSending(one.key);
    const upload = new Upload(file, new Server(this.dataset), {
      said: { key: one.key, fingerprint: one.print ?? "" },
      words: () => one.words,
      begun: () => {},
      show: (state, arrived, sentence) => show(of, state, arrived, file.size, sentence),
    });
    this.#gone.signal.addEventListener("abort", () => upload.stop());
    one.stop = () => upload.stop();
    const { next, sentence, refused } = await upload.ended;
    one.stop = () => {};
    letGo();
    if (next) await one.arrived();
    else if (refused) await one.refuse(sentence);
    of("words").textContent = next ? gettext("It has arrived.") : (sentence ?? inWords("stopped"));
    of("going").hidden = true;
    of("remove").hidden = Boolean(next);
    return next ?? null;
  }

  #row(one) {
    const element = this.querySelector("template").content.firstElementChild.cloneNode(true);
    const of = (name) => element.querySelector(`[data-of="${name}"]`);
    let removed = false;
    of("name").textContent = one.name;
    of("size").textContent = megabytes(one.bytes);
    of("words").textContent = one.refused ?? "";
    of("remove").setAttribute("aria-label", gettext("Remove it: %(name)s", { name: one.name }));
    of("remove").addEventListener("click", async () => {
      removed = true;
      await one.stop?.();
      await one.remove();
      element.remove();
      this.hidden = !this.#part("rows").children.length;
    });
    this.#part("rows").append(element);
    return { one, of, isRemoved: () => removed };
  }

  #part(name) {
    return this.querySelector(`[data-part="${name}"]`);
  }
}

function show(of, state, arrived, total, sentence = "") {
  const words = [sentence, inWords(state)].filter(Boolean).join(" ");
  if (of("words").textContent !== words) of("words").textContent = words;
  of("going").hidden = false;
  of("bar").value = percent(arrived, total);
  of("amount").textContent = amount(arrived, total);
  of("log-in").hidden = state !== "out";
}

/** Of takes recorded here: the ones that are shown are told of once. */
function hideTheNotice() {
  for (const notice of document.querySelectorAll("[data-kept-takes]")) notice.hidden = true;
}

/** Somebody is about to send another one from this page, which must not go away. */
function isChoosing() {
  return [...document.querySelectorAll('send-clip input[type="file"]')].some(({ files }) => files.length);
}

customElements.define("kept-clips", KeptClips);
