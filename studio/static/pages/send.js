// <send-clip>: looks at the chosen recording and sends it in pieces, over as many connections as it
// takes. What is typed goes with it from the moment it is typed, and stays in this browser until the
// server has it; so does the recording, once there is no line. Without this module the form inside
// posts by itself.

import { length, megabytes, percent } from "../figures.js";
import { HeldFile } from "../offline/held-file.js";
import { holdSending } from "../offline/sending-lock.js";
import { gettext } from "../translation.js";
import { fingerprint } from "./fingerprint.js";
import { halfOf } from "./half-sent.js";
import { openIn } from "./look.js";
import { noted, secondsLeft } from "./pace.js";
import { newKey, Server } from "./server.js";
import { refusal } from "./sizes.js";
import { amount, inWords } from "./standing.js";
import { Upload } from "./upload.js";
import { Words } from "./words.js";

const TAKE_KEPT = gettext("The take is kept on this device. You may close this page: it goes on when you open the "
  + "studio with a line.");

class SendClip extends HTMLElement {
  #listening = null;
  #sending = false;
  #upload = null;
  #looked = null;
  #print = null; // of the chosen file, once it is known
  #samples = [];
  #words = null;
  #made = null; // what is told of a file that this page recorded itself
  #held = null; // the chosen file as this device keeps it while there is no line

  connectedCallback() {
    this.#listening = new AbortController();
    const { signal } = this.#listening;
    const on = (target, type, action) => target.addEventListener(type, action, { signal });
    this.#input.removeAttribute("required");
    on(this.#input, "change", () => this.#chosen());
    on(this.#form, "submit", (event) => this.#submit(event));
    on(this.#form, "input", ({ target }) => this.#words.typed(target.name));
    on(this.#part("stop"), "click", () => this.#upload?.stop());
    for (const type of ["dragover", "dragleave", "drop"]) {
      on(this.#drop, type, (event) => this.#drag(event));
    }
    on(window, "beforeunload", (event) => this.#sending && !this.#held?.isKept && event.preventDefault());
    on(window, "studio:left", (event) => this.#sending && event.preventDefault());
    on(window, "pagehide", () => this.#words.flush());
    this.#words = new Words(this.#form, this.dataset.words, (words) => this.#tell(words));
    if (this.#input.files.length) {
      this.#chosen();
    }
  }

  disconnectedCallback() {
    this.#listening.abort();
    this.#upload?.stop();
    this.#looked?.release();
  }

  // -- actions

  /**
   * Choose a file that was recorded in the page. `made`: {key} of its upload, and what is called:
   * begins(), ended() without having arrived, renewed(key), arrived(), which is waited for; whether
   * it `isKept` on this device by the page that made it, the `words` kept with it, and say(words)
   * to keep others, true once they are.
   */
  take(file, made) {
    const held = new DataTransfer();
    held.items.add(file);
    this.#input.files = held.files;
    this.#made = made;
    return this.#choose();
  }

  /** As if Send were pressed. */
  send() {
    this.#form.requestSubmit();
  }

  #chosen() {
    this.#made = null;
    return this.#choose();
  }

  async #choose() {
    const file = this.#input.files[0];
    this.#looked?.release();
    this.#looked = null;
    this.#refuse("");
    this.#part("going").hidden = true;
    this.#part("send").textContent = gettext("Send it");
    this.#part("look").hidden = true;
    this.#part("chosen").textContent = file ? file.name : gettext("Choose or film a recording");
    this.#part("details").textContent = file ? megabytes(file.size) : "";
    if (!file) {
      return;
    }
    this.#field("upload_key").value = this.#made?.key ?? newKey();
    const print = this.#print = fingerprint(file).catch(() => "");
    const look = this.#looked = openIn(this.#part("look"), file);
    this.#words.fill(this.#made?.words ?? {});
    this.#recognise(file, await print);
    const found = await look.found;
    if (look !== this.#looked || this.#sending) {
      return; // another file was chosen in the meantime, or this one is on its way
    }
    const lasts = found.durationS === null ? [] : [length(found.durationS)];
    this.#part("details").textContent = [...lasts, megabytes(file.size)].join(" · ");
    this.#refuse(refusal(file, found, this.#limits), { final: true });
  }

  /** What was begun of the same recording has its words already. */
  #recognise(file, print) {
    const half = file === this.#input.files[0] && halfOf(document, file.size, print);
    if (half) {
      this.#words.fill(half);
      this.#part("send").textContent = gettext("Go on sending");
    }
  }

  #submit(event) {
    event.preventDefault();
    const file = this.#input.files[0];
    if (this.#sending) {
      return;
    }
    if (!file) {
      this.#refuse(gettext("Choose a recording first, then send it."));
      this.#input.focus();
      return;
    }
    this.#post(file);
  }

  #drag(event) {
    event.preventDefault();
    this.#drop.classList.toggle("over", event.type === "dragover");
    if (event.type === "drop" && event.dataTransfer.files.length && !this.#sending) {
      this.#input.files = event.dataTransfer.files;
      this.#chosen();
    }
  }

  // -- sending

  async #post(file) {
    this.#refuse("");
    this.#going(true);
    this.#samples = [];
    await this.#made?.begins();
    const said = { key: this.#field("upload_key").value, fingerprint: await this.#print };
    this.#hold(said);
    const letGo = holdSending(said.key);
    this.#upload = new Upload(file, new Server(this.dataset), {
      said,
      words: () => this.#words.said,
      begun: (words) => this.#words.told(words),
      show: (state, arrived, sentence) => this.#show(state, arrived, file, sentence),
    });
    const { next, sentence = "", refused } = await this.#upload.ended;
    letGo();
    if (next || refused || !sentence) await this.#held?.forget(); // else it goes on another time
    if (next) {
      await this.#made?.arrived();
      this.#leave(next);
      return;
    }
    if (refused) {
      this.#field("upload_key").value = newKey(); // the old key belongs to what was refused
      this.#made?.renewed(this.#field("upload_key").value);
    }
    this.#made?.ended();
    this.#going(false);
    this.#part("going").hidden = Boolean(sentence);
    this.#refuse(sentence);
    this.#part("send").textContent = sentence ? gettext("Send it again") : gettext("Go on sending");
    this.#part("send").focus({ preventScroll: true });
  }

  /** An empty form is left behind, so that going back does not find the recording in it again. */
  #leave(next) {
    this.#words.forget();
    this.#upload = null;
    this.#going(false);
    this.#form.reset();
    this.#chosen();
    window.location.assign(next);
  }

  // -- without a line

  #hold({ key, fingerprint: print }) {
    const { words: whose, sender: person } = this.dataset;
    this.#held = this.#made ? null : new HeldFile({ key, whose, person, at: location.pathname, print });
    this.#part("kept").textContent = "";
  }

  /** Keep the file on this device; what was typed is kept with it. */
  async #keep(file) {
    const { now } = this.#words;
    const isTake = Boolean(this.#made?.isKept);
    const said = this.#held ? await this.#held.hold(file, now) : isTake ? TAKE_KEPT : "";
    if (this.#sending) this.#part("kept").textContent = said;
    if (await (this.#held ?? this.#made)?.say(now)) this.#words.told(now);
  }

  async #tell(words) {
    const isKept = this.#sending && (await (this.#held ?? this.#made)?.say(this.#words.now));
    return (await this.#upload?.say(words)) || isKept;
  }

  // -- what is shown

  #show(state, arrived, file, sentence = "") {
    const total = file.size;
    if (state === "waiting") this.#keep(file);
    this.#samples = state === "sending"
      ? noted(this.#samples, { ms: Date.now(), bytes: arrived })
      : [];
    this.#part("bar").value = percent(arrived, total);
    const left = secondsLeft(this.#samples, total);
    this.#part("amount").textContent = amount(arrived, total, left, state);
    this.#say([sentence, inWords(state)].filter(Boolean).join(" "));
    this.#part("log-in").hidden = state !== "out";
  }

  #say(words) {
    if (this.#part("words").textContent !== words) {
      this.#part("words").textContent = words;
    }
  }

  #going(going) {
    this.#sending = going;
    this.#part("going").hidden = !going;
    this.#part("stop").hidden = !going;
    this.#part("log-in").hidden = true;
    this.#part("send").hidden = going;
    this.#input.disabled = going;
    if (going) {
      this.#part("going").scrollIntoView({ block: "center" });
    }
  }

  /** Show why not; `final` means that this file cannot be sent at all. */
  #refuse(sentence, { final = false } = {}) {
    this.#part("refusal").hidden = !sentence;
    this.#part("refusal").textContent = sentence;
    if (sentence) {
      this.#part("refusal").scrollIntoView({ block: "center" });
    }
    this.#part("send").disabled = Boolean(sentence) && final;
  }

  // -- internals

  get #limits() {
    const { maxBytes, maxS, endings } = this.dataset;
    return { bytes: Number(maxBytes), s: Number(maxS), endings: endings.split(",") };
  }

  get #form() {
    return this.querySelector("form");
  }

  get #input() {
    return this.querySelector('input[type="file"]');
  }

  get #drop() {
    return this.querySelector(".drop");
  }

  #field(name) {
    return this.#form.elements[name];
  }

  #part(name) {
    return this.querySelector(`[data-part="${name}"]`);
  }
}

customElements.define("send-clip", SendClip);
