// Sends the desk's forms without leaving the page. The answer is HTML whose elements replace
// those with the same ids. What cannot be sent now is sent when the connection is back; every
// exchange may safely be sent twice. Emits "desk:changed" { said } after each answer.

const RETRY_MS = 5000;
const SHOWN_MS = 6000;
const OFFLINE = "Not sent yet: there is no connection. It is kept here and sent when it is back.";
const LOGGED_OUT =
  "You were logged out, so this was not saved. What you wrote is kept here: log in in another " +
  "tab, then press again.";
const BROKEN = "The server could not save this. What you wrote is kept here; press again.";

export class Exchange {
  #root;
  #drafts;
  #waiting = new Map();
  #quiet = 0;

  constructor(root, drafts, signal) {
    this.#root = root;
    this.#drafts = drafts;
    root.addEventListener("submit", (event) => this.#submitted(event), { signal });
    addEventListener("online", () => this.#again(), { signal });
    const timer = setInterval(() => this.#again(), RETRY_MS);
    signal.addEventListener("abort", () => clearInterval(timer));
  }

  // -- actions --------------------------------------------------------------------------------

  /** Say it in the status line; good news goes away by itself. */
  say(words, stays = false) {
    const line = this.#root.querySelector("#said");
    if (!line) return;
    line.textContent = words;
    clearTimeout(this.#quiet);
    if (!stays) this.#quiet = setTimeout(() => (line.textContent = ""), SHOWN_MS);
  }

  get unsent() {
    return this.#waiting.size > 0;
  }

  // -- callbacks ------------------------------------------------------------------------------

  #submitted(event) {
    const form = event.target;
    if (!form.matches("[data-exchange]")) return;
    event.preventDefault();
    if (form.dataset.busy !== undefined) return;
    const body = new FormData(form, event.submitter);
    this.#send(form, body, event.submitter?.id, pressed(event.submitter));
  }

  #again() {
    for (const [form, { body, focus, takeBack }] of [...this.#waiting]) {
      this.#waiting.delete(form);
      if (form.dataset.busy === undefined) this.#send(form, body, focus, takeBack);
    }
  }

  // -- internals ------------------------------------------------------------------------------

  async #send(form, body, focus, takeBack = () => {}) {
    form.dataset.busy = "";
    try {
      const headers = { "X-Desk": "parts" };
      const answer = await fetch(form.action, { method: "POST", body, headers });
      if (!answer.ok || answer.redirected) takeBack();
      await this.#answered(form, answer, focus);
    } catch {
      this.#waiting.set(form, { body, focus, takeBack });
      this.say(OFFLINE, true);
    } finally {
      delete form.dataset.busy;
    }
  }

  async #answered(form, answer, focus) {
    if (answer.redirected) return this.say(LOGGED_OUT, true);
    if (![200, 409, 422].includes(answer.status)) return this.say(BROKEN, true);
    if (answer.ok) this.#drafts.forget(form);
    const html = await answer.text();
    const typing = form.contains(document.activeElement) && document.activeElement.matches("textarea");
    this.#replace(html, answer.ok ? null : form, !answer.ok);
    const held = document.getElementById(answer.ok && typing ? "desk" : focus);
    held?.focus({ preventScroll: true });
    const event = new CustomEvent("desk:changed", { bubbles: true, detail: { form, ok: answer.ok } });
    return this.#root.dispatchEvent(event);
  }

  #replace(html, refused, stays) {
    const template = document.createElement("template");
    template.innerHTML = html;
    for (const part of [...template.content.children]) {
      const old = document.getElementById(part.id);
      if (!old) continue;
      if (part.id === "said") {
        this.say(part.textContent, stays);
        continue;
      }
      const focused = old.contains(document.activeElement) ? document.activeElement.id : "";
      const open = [...old.querySelectorAll("details[open][id]")].map(({ id }) => id);
      if (old.open && part.matches("details[data-stays]")) part.open = true;
      old.replaceWith(part);
      for (const id of open) this.#reopen(part, id, refused);
      this.#drafts.restore(part);
      if (focused) document.getElementById(focused)?.focus({ preventScroll: true });
    }
  }

  /** What was unfolded stays so, but for the form that was just saved. */
  #reopen(part, id, refused) {
    const details = part.querySelector(`#${CSS.escape(id)}`);
    if (details && (refused || details.matches("[data-singles]"))) details.open = true;
  }
}

/** A decision shows at once, before the server has it; what is returned takes that back.
 *
 * The button's value is what a press asks for: empty where it takes a decision back.
 */
function pressed(button) {
  if (!button?.matches("[data-decide]")) return undefined;
  const wanted = button.value !== "";
  button.setAttribute("aria-pressed", wanted);
  return () => button.setAttribute("aria-pressed", !wanted);
}
