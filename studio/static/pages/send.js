// <send-clip>: looks at the chosen recording, sends it as it is with progress, and keeps it
// chosen when the connection is lost. Without this module the form inside posts by itself.

import { clock, megabytes, refusal } from "./sizes.js";
import { newKey, upload } from "./upload.js";

const LOOK_MS = 8000; // a browser that has not opened a file by then will not tell its length
const HEADERS = {
  title: "Clip-Title", note: "Clip-Note", assignment: "Clip-Assignment", upload_key: "Clip-Key",
};

class SendClip extends HTMLElement {
  #listening = null;
  #sending = null;
  #address = "";
  #looks = 0;
  #patience = 0;

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
    clearTimeout(this.#patience);
    this.#sending?.stop();
    URL.revokeObjectURL(this.#address);
  }

  // -- actions

  async #choose() {
    const file = this.#input.files[0];
    const look = ++this.#looks;
    this.#refuse("");
    this.#part("send").textContent = "Send it";
    this.#part("look").hidden = true;
    this.#part("chosen").textContent = file ? file.name : "Choose or film a recording";
    this.#part("details").textContent = file ? megabytes(file.size) : "";
    if (!file) {
      return;
    }
    this.#field("upload_key").value = newKey();
    const found = await this.#open(file);
    if (look !== this.#looks || this.#sending) {
      return; // another file was chosen in the meantime, or this one is on its way
    }
    const length = found.durationS === null ? [] : [clock(found.durationS)];
    this.#part("details").textContent = [...length, megabytes(file.size)].join(" · ");
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
    this.#progress(0, file.size);
    this.#sending = upload(file, {
      address: this.dataset.action,
      token: this.#field("csrfmiddlewaretoken").value,
      headers: this.#headers(file),
      progress: (loaded, total) => this.#progress(loaded, total),
      arrived: () => this.#say("All of it has arrived; having a look at it …"),
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

  #headers(file) {
    const said = Object.entries(HEADERS).map(([name, header]) => [header, this.#field(name).value]);
    return { "Clip-Name": [...file.name].slice(-200).join(""), ...Object.fromEntries(said) };
  }

  // -- what is shown

  #progress(loaded, total) {
    const percent = total ? Math.floor((100 * loaded) / total) : 0;
    this.#part("bar").value = percent;
    // Said in tenths, so that a screen reader is not flooded.
    this.#say(`Sending: ${Math.floor(percent / 10) * 10} % of ${megabytes(total)}`);
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

  /** Open the file in a media element: {opens, durationS}; the length may stay unknown. */
  #open(file) {
    clearTimeout(this.#patience);
    URL.revokeObjectURL(this.#address);
    this.#address = URL.createObjectURL(file);
    const look = this.#part("look");
    look.src = this.#address;
    return new Promise((resolve) => {
      const tell = (opens) => {
        clearTimeout(this.#patience);
        const known = opens && Number.isFinite(look.duration);
        look.hidden = !(opens && look.videoWidth);
        look.onloadedmetadata = look.onerror = null;
        resolve({ opens, durationS: known ? look.duration : null });
      };
      look.onloadedmetadata = () => tell(true);
      look.onerror = () => tell(false);
      this.#patience = setTimeout(() => tell(look.readyState > 0), LOOK_MS);
    });
  }

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
