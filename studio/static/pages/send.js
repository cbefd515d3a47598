// <send-clip>: looks at the chosen recording and sends it in pieces, with progress, over as many
// connections as it takes. Without this module the form inside posts by itself.

import { length, megabytes, percent } from "../figures.js";
import { openIn } from "./look.js";
import { amount, noted, secondsLeft } from "./pace.js";
import { refusal } from "./sizes.js";
import { newKey, upload } from "./upload.js";

const FIELDS = ["title", "note", "assignment"];
const NO_UPLOAD = "00000000-0000-0000-0000-000000000000"; // stands in the address for the upload's

class SendClip extends HTMLElement {
  #listening = null;
  #sending = null;
  #looked = null;
  #samples = [];

  connectedCallback() {
    this.#listening = new AbortController();
    const { signal } = this.#listening;
    const on = (target, type, action) => target.addEventListener(type, action, { signal });
    this.#input.removeAttribute("required");
    on(this.#input, "change", () => this.#choose());
    on(this.querySelector("form"), "submit", (event) => this.#submit(event));
    on(this.#part("stop"), "click", () => this.#sending?.stop());
    for (const type of ["dragover", "dragleave", "drop"]) {
      on(this.#drop, type, (event) => this.#drag(event));
    }
    on(window, "beforeunload", (event) => this.#sending && event.preventDefault());
    if (this.#input.files.length) {
      this.#choose();
    }
  }

  disconnectedCallback() {
    this.#listening.abort();
    this.#sending?.stop();
    this.#looked?.release();
  }

  // -- actions

  async #choose() {
    const file = this.#input.files[0];
    this.#looked?.release();
    this.#looked = null;
    this.#refuse("");
    this.#part("send").textContent = "Send it";
    this.#part("look").hidden = true;
    this.#part("chosen").textContent = file ? file.name : "Choose or film a recording";
    this.#part("details").textContent = file ? megabytes(file.size) : "";
    if (!file) {
      return;
    }
    this.#field("upload_key").value = newKey();
    const look = this.#looked = openIn(this.#part("look"), file);
    const found = await look.found;
    if (look !== this.#looked || this.#sending) {
      return; // another file was chosen in the meantime, or this one is on its way
    }
    const lasts = found.durationS === null ? [] : [length(found.durationS)];
    this.#part("details").textContent = [...lasts, megabytes(file.size)].join(" · ");
    this.#refuse(refusal(file, found, this.#limits), { final: true });
  }

  #submit(event) {
    event.preventDefault();
    const file = this.#input.files[0];
    if (this.#sending) {
      return;
    }
    if (!file) {
      this.#refuse("Choose a recording first, then send it.");
      this.#input.focus();
      return;
    }
    this.#post(file);
  }

  #drag(event) {
    event.preventDefault();
    this.#drop.classList.toggle("over", event.type === "dragover");
    if (event.type === "drop" && event.dataTransfer.files.length) {
      this.#input.files = event.dataTransfer.files;
      this.#choose();
    }
  }

  // -- sending

  async #post(file) {
    this.#refuse("");
    this.#going(true);
    this.#samples = [];
    this.#progress(0, file.size);
    this.#sending = upload(file, {
      address: this.dataset.action,
      arrivedAt: (id) => this.dataset.arrived.replace(NO_UPLOAD, id),
      token: this.#field("csrfmiddlewaretoken").value,
      words: () => this.#words(file),
      progress: (loaded, total) => this.#progress(loaded, total),
      waiting: (kept) => this.#wait(kept),
      arrived: () => this.#arrive(file.size),
    });
    const { next, sentence, refused } = await this.#sending.ended;
    this.#sending = null;
    if (next) {
      window.location.assign(next);
      return;
    }
    if (refused) {
      this.#field("upload_key").value = newKey(); // the old key belongs to what was refused
    }
    this.#going(false);
    this.#refuse(sentence);
    this.#part("send").textContent = "Send it again";
  }

  /** What the page says about the recording just now. */
  #words(file) {
    const said = FIELDS.map((name) => [name, this.#field(name).value]);
    const filename = [...file.name].slice(-200).join("");
    return { filename, key: this.#field("upload_key").value, ...Object.fromEntries(said) };
  }

  // -- what is shown

  #progress(loaded, total) {
    const share = percent(loaded, total);
    this.#samples = noted(this.#samples, { ms: Date.now(), bytes: loaded });
    this.#part("bar").value = share;
    this.#part("amount").textContent = amount(loaded, total, secondsLeft(this.#samples, total));
    // Said in tenths, so that a screen reader is not flooded.
    this.#say(`Sending: ${share - (share % 10)} % of ${megabytes(total)}`);
  }

  #wait(kept) {
    this.#samples = [];
    this.#part("amount").textContent = "";
    this.#say(`Waiting for the connection; ${megabytes(kept)} are kept. It goes on by itself.`);
  }

  #arrive(total) {
    this.#part("bar").value = 100;
    this.#part("amount").textContent = amount(total, total, null);
    this.#say("All of it has arrived; having a look at it …");
  }

  #say(words) {
    if (this.#part("words").textContent !== words) {
      this.#part("words").textContent = words;
    }
  }

  #going(going) {
    this.#part("going").hidden = !going;
    this.#part("stop").hidden = !going;
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

  get #input() {
    return this.querySelector('input[type="file"]');
  }

  get #drop() {
    return this.querySelector(".drop");
  }

  #field(name) {
    return this.querySelector("form").elements[name];
  }

  #part(name) {
    return this.querySelector(`[data-part="${name}"]`);
  }
}

customElements.define("send-clip", SendClip);
