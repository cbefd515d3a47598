// The dialog that shows the desk's keys and lets a teacher change them, fetched when it is first
// asked for. What is changed is kept for the person, on the server.

import { gettext } from "../translation.js";
import { button, made, pairOf } from "./key-rows.js";
import { asItWas, canBeGiven, given, holderOf, inForce, keysOf, nameOf, onPage, shown } from "./keys.js";

const HELD = ["Shift", "Control", "Alt", "AltGraph", "Meta", "CapsLock"]; // no key by themselves
const HINT =
  gettext("They work wherever nothing is being written. In a text: Ctrl Enter saves, Esc leaves it.");

/** Stands in a <key-help>, and emits "desk:keys" { changed } and "desk:goes-on" from there. */
export class KeyDialog {
  #host;
  #signal;
  #dialog = null;
  #list = null;
  #said = null;
  #answers = null;
  #waiting = null; // the action that waits for its new key
  #changed;
  #acts = { change: (act) => this.#ask(act), reset: (act) => this.#reset(act) };

  constructor(host, changed, signal) {
    this.#host = host;
    this.#changed = changed;
    this.#signal = signal;
    this.#build();
    host.append(this.#dialog);
    this.#dialog.addEventListener("keydown", (event) => this.#key(event), { signal });
    this.#dialog.addEventListener("cancel", (event) => this.#cancelled(event), { signal });
    this.#dialog.addEventListener("close", () => this.#rest(), { signal });
    signal.addEventListener("abort", () => this.#dialog.remove());
  }

  // -- actions --------------------------------------------------------------------------------

  toggle() {
    if (this.#dialog.open) return this.#dialog.close();
    this.#show();
    return this.#dialog.showModal();
  }

  get open() {
    return this.#dialog.open;
  }

  get changed() {
    return this.#changed;
  }

  // -- callbacks ------------------------------------------------------------------------------

  /** The next key pressed is the new one; those of the browser stay the browser's. */
  #key(event) {
    if (!this.#waiting || HELD.includes(event.key)) return;
    if (event.key === "Tab") return this.#rest();
    const name = nameOf(event);
    if (!name) return;
    event.preventDefault();
    event.stopPropagation();
    if (event.key === "Escape") this.#giveUp();
    else this.#take(name);
  }

  #cancelled(event) {
    if (!this.#waiting) return;
    event.preventDefault();
    this.#giveUp();
  }

  #ask(act) {
    this.#rest();
    this.#waiting = act;
    this.#button(act).setAttribute("aria-pressed", "true");
    this.#say(gettext("Press the new key for “%(act)s”. Esc leaves it as it is.", { act: this.#row(act).words }));
  }

  #take(name) {
    const act = this.#waiting;
    if (!canBeGiven(name)) return this.#say(gettext("%(key)s is needed by the browser. Press another key.", { key: shown(name) }));
    const holder = holderOf(name, act, inForce(this.#changed))?.act;
    if (holder === act) return this.#giveUp();
    if (!holder) return this.#keep(given(this.#changed, act, name), act);
    if (this.#row(holder).fixed) return this.#say(gettext("%(key)s keeps what it does. Press another key.", { key: shown(name) }));
    return this.#offer(act, name, holder);
  }

  #offer(act, name, holder) {
    this.#rest();
    this.#say(gettext("%(key)s is the key for “%(act)s”.", { key: shown(name), act: this.#row(holder).words }));
    const swap = button(gettext("Swap the two"), () => this.#keep(given(this.#changed, act, name, holder), act));
    const leave = button(gettext("Leave both"), () => this.#giveUp(act));
    this.#answers.replaceChildren(swap, leave);
    swap.focus();
  }

  #reset(act) {
    const { changed, holder } = asItWas(this.#changed, act);
    if (!holder) return this.#keep(changed, act);
    return this.#say(gettext("Its own key is now the key for “%(act)s”. Change that one first.", { act: holder.words }));
  }

  // -- internals ------------------------------------------------------------------------------

  /** It holds once the server has it; else all is as before, and why is said. */
  async #keep(changed, act) {
    this.#rest();
    const refused = await this.#send("keys", JSON.stringify(changed));
    if (!refused) {
      this.#changed = changed;
      this.#show();
      this.#host.dispatchEvent(new CustomEvent("desk:keys", { bubbles: true, detail: { changed } }));
    }
    const row = act && this.#row(act);
    const kept = row ? gettext("“%(act)s” is now %(keys)s.", { act: row.words, keys: keysOf(row) }) : gettext("All keys are as they were.");
    this.#say(refused || kept);
    (row ? this.#button(act) : this.#list.querySelector("button")).focus();
  }

  #giveUp(act = this.#waiting) {
    this.#rest();
    this.#say(gettext("Left as it was."));
    this.#button(act)?.focus();
  }

  #rest() {
    if (this.#waiting) this.#button(this.#waiting).removeAttribute("aria-pressed");
    this.#waiting = null;
    this.#answers.replaceChildren();
    this.#say("");
  }

  #say(words) {
    this.#said.textContent = words;
  }

  #row(act) {
    return inForce(this.#changed).find((row) => row.act === act);
  }

  #button(act) {
    return this.#list.querySelector(`[data-change="${act}"]`);
  }

  #build() {
    this.#dialog = made("dialog", "keys-help");
    this.#dialog.setAttribute("aria-labelledby", "keys-title");
    const title = made("h2", "", gettext("Keys"));
    title.id = "keys-title";
    title.tabIndex = -1;
    title.autofocus = true; // to be read first; a key is changed by whoever goes on to it
    this.#said = made("p", "keys-said");
    this.#said.setAttribute("role", "status");
    this.#answers = made("div", "keys-answers");
    this.#list = made("dl");
    const form = made("form");
    form.method = "dialog";
    const all = button(gettext("All as they were"), () => this.#keep({}, null));
    form.append(made("button", "main", gettext("Close")), all);
    const telling = made("div", "keys-telling");
    telling.append(this.#said, this.#answers);
    this.#dialog.append(title, made("p", "quiet small", HINT), telling, this.#list);
    if (!this.#host.dataset.page) this.#dialog.append(this.#goingOn());
    this.#dialog.append(form);
  }

  /** Whether a decision goes on to the next mark. */
  #goingOn() {
    const label = made("label", "keys-going-on");
    const box = made("input");
    box.type = "checkbox";
    box.checked = "goesOn" in this.#host.dataset;
    box.addEventListener("change", () => this.#keepGoingOn(box));
    label.append(box, ` ${gettext("After keep or drop, go on to the next mark")}`);
    return label;
  }

  async #keepGoingOn(box) {
    const goesOn = box.checked;
    const refused = await this.#send("goes_on", goesOn ? "1" : "0");
    if (refused) box.checked = !goesOn;
    else this.#host.dispatchEvent(new CustomEvent("desk:goes-on", { bubbles: true, detail: { goesOn } }));
    this.#say(refused || (goesOn ? gettext("A decision goes on to the next mark.") : gettext("A decision stays at its mark.")));
  }

  #send(name, value) {
    const body = new FormData();
    body.set(name, value);
    body.set("csrfmiddlewaretoken", this.#host.querySelector("[name='csrfmiddlewaretoken']").value);
    return send(this.#host.dataset.keep, body, this.#signal);
  }

  #show() {
    const rows = onPage(inForce(this.#changed), this.#host.dataset.page);
    this.#list.replaceChildren(...rows.map((row) => pairOf(row, this.#acts)));
  }
}

/** Empty when it was kept, else the sentence that says why not. */
async function send(address, body, signal) {
  try {
    const answer = await fetch(address, { method: "POST", body, signal });
    if (answer.ok && !answer.redirected) return "";
    if (answer.status === 422) return (await answer.json()).said;
    return gettext("Not kept: the server could not save it. Log in again if you were logged out.");
  } catch {
    return gettext("Not kept: there is no connection. Change it again when it is back.");
  }
}
