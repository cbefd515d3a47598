// <reply-recorder>: around a form's file field. Records voice or video into that field, so that
// the form sends it as any chosen file; keeps what was recorded until the server has it.

import { gettext } from "../translation.js";
import { forget, keep, kept } from "./kept-recordings.js";
import { Recording } from "./recording.js";
import { ReplyView } from "./reply-view.js";
import * as words from "./reply-words.js";

const MOST_S = 180;
const MOST_BYTES = 100_000_000;
const SILENT = 0.004; // a loudest sample below this is no voice
const SILENT_AFTER_S = 3;

export class ReplyRecorder extends HTMLElement {
  #aborter = null;
  #recording = null;
  #view = null;
  #name = "";
  #asking = false; // for the microphone
  #stopping = false;
  #sends = false; // once what is being stopped is there
  #turn = 0; // raised by whatever makes an earlier answer void

  connectedCallback() {
    this.#aborter = new AbortController();
    const { signal } = this.#aborter;
    const { person, clip } = this.closest("clip-desk").dataset;
    this.#name = `${person}:${clip}:${this.dataset.place}`;
    this.#view = new ReplyView(this);
    this.addEventListener("click", ({ target }) => this.#pressed(target), { signal });
    this.#input.addEventListener("change", () => this.#chosen(), { signal });
    const sending = { capture: true, signal };
    this.closest("form").addEventListener("submit", (event) => this.#sending(event), sending);
    if (this.#input.files.length) this.#chosen();
    else this.#restore();
  }

  disconnectedCallback() {
    this.#aborter.abort();
    this.#recording?.stop();
    this.#recording = null;
    this.#view.release();
  }

  // -- actions --------------------------------------------------------------------------------

  /** What a recording made here is kept as; known also once this has left the page. */
  get name() {
    return this.#name;
  }

  /** By a key: record voice, or stop. What was recorded already is not recorded over. */
  toggle() {
    if (this.#asking) return undefined;
    if (this.#recording) return this.#stop();
    if (!this.#input.files.length) return this.#record("voice");
    this.#submit.focus();
    return this.#say(words.THERE_ALREADY);
  }

  /** Nothing is recorded, chosen or kept any more. */
  async clear() {
    this.#turn += 1;
    this.#put(null);
    await forget(this.name);
  }

  /** The form was sent: it is empty, and what was recorded is kept elsewhere from then on. */
  async sent(there) {
    const turn = (this.#turn += 1);
    this.#put(null);
    this.#say("");
    await there;
    if (turn === this.#turn) await forget(this.name);
  }

  // -- callbacks ------------------------------------------------------------------------------

  #pressed(target) {
    if (target.dataset.record) this.#record(target.dataset.record);
    if (target === this.#view.part("stop")) this.#stop();
    if (target === this.#view.part("remove")) {
      this.clear();
      this.#say(gettext("Removed."));
      this.querySelector("[data-record]").focus();
    }
  }

  /** What is still being recorded is not left behind. */
  #sending(event) {
    if (!this.#recording) return;
    event.preventDefault();
    event.stopImmediatePropagation();
    if (this.#stopping) return void (this.#sends = true);
    this.#say(gettext("Stop the recording first, then send it."));
    this.#view.part("stop").focus();
  }

  #chosen() {
    this.#turn += 1;
    const file = this.#input.files[0];
    forget(this.name);
    const problem = file ? words.tooLarge(file, MOST_BYTES) : "";
    this.#put(problem ? null : (file ?? null));
    this.#say(problem);
  }

  async #record(kind) {
    const turn = (this.#turn += 1);
    document.querySelectorAll("video, audio").forEach((other) => other.pause());
    this.#asking = true;
    try {
      const recording = await Recording.begin(kind);
      if (turn !== this.#turn || !this.isConnected) return void recording.stop();
      this.#recording = recording;
      recording.soFar = (file) => this.#keep(file);
    } catch (error) {
      return this.#say(words.whyNot(error.name, kind));
    } finally {
      this.#asking = false;
    }
    this.#view.show("live");
    this.#say(gettext("Recording."));
    this.#view.camera(kind === "video" ? this.#recording.stream : null);
    this.#view.part("stop").focus();
    this.#tick(0);
    return this.#take(await this.#recording.ended);
  }

  /** At every frame: the time that runs, and how loud it is; `before` is the loudest so far. */
  #tick(before) {
    const recording = this.#recording;
    if (!recording || !this.isConnected) return;
    const { seconds, level } = recording;
    const loudest = Math.max(before, level);
    this.#view.running(words.running(seconds, MOST_S), level);
    if (seconds > SILENT_AFTER_S && loudest < SILENT) this.#say(words.NOTHING_HEARD);
    if (seconds >= MOST_S - 0.5) {
      recording.full = true;
      recording.stop();
    } else {
      requestAnimationFrame(() => this.#tick(loudest));
    }
  }

  async #take(file) {
    const { full, seconds } = this.#recording ?? {};
    const sends = this.#sends;
    this.#recording = null;
    this.#stopping = this.#sends = false;
    this.#view.camera(null);
    if (!this.isConnected) return;
    this.#put(file, Math.min(seconds, MOST_S));
    const { said } = this.#view;
    this.#submit.focus({ preventScroll: true });
    if (sends) return this.closest("form").requestSubmit();
    const there = await this.#keep(file);
    if (there && said !== this.#view.said) return; // a key was pressed meanwhile, and answered
    this.#say([full ? words.reached(MOST_S) : "", there ? words.KEPT_HERE : words.NOT_KEPT].join(" ").trim());
  }

  #stop() {
    this.#stopping = Boolean(this.#recording);
    this.#recording?.stop();
  }

  #keep(file) {
    return keep(this.name, { file, formKey: this.#formKey?.value ?? "" });
  }

  async #restore() {
    const turn = this.#turn;
    const found = await kept(this.name);
    if (!found || turn !== this.#turn || !this.isConnected) return;
    if (this.#formKey && found.formKey) this.#formKey.value = found.formKey;
    this.#put(found.file);
    this.#say(words.FROM_BEFORE);
    this.closest("details").open = true;
  }

  // -- internals ------------------------------------------------------------------------------

  /** The file that the form will send, or null; it can be heard before. */
  #put(file, seconds = null) {
    const held = new DataTransfer();
    if (file) held.items.add(file);
    this.#input.files = held.files;
    if (file) this.#input.dispatchEvent(new Event("input", { bubbles: true }));
    this.#view.made(file, file ? words.described(file, seconds) : "");
  }

  #say(sentence) {
    this.#view.say(sentence);
  }

  get #input() {
    return this.querySelector('input[type="file"]');
  }

  get #submit() {
    return this.closest("form").querySelector("[type='submit']");
  }

  get #formKey() {
    return this.closest("form").elements.form_key;
  }
}

/** It is on its way with its form; once the browser keeps it there, it need not be kept here. */
document.addEventListener("desk:queued", ({ detail: { form, kept: there } }) => {
  const recorder = there && form.querySelector("reply-recorder");
  recorder?.sent(there);
});

customElements.define("reply-recorder", ReplyRecorder);
