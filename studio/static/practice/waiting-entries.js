// <waiting-entries>: what was noted on this device and is not with the studio yet. It goes by itself,
// one after another, as soon as there is a line; the studio keeps each once, by its key.

import { dropEntry, entriesOf, keepEntry } from "./kept-here.js";

const AGAIN_MS = 15_000;
const REFUSED = [403, 404, 410, 422];

class WaitingEntries extends HTMLElement {
  #gone = new AbortController();
  #sending = null;

  connectedCallback() {
    const { signal } = this.#gone;
    const send = () => this.#send();
    addEventListener("online", send, { signal });
    document.addEventListener("visibilitychange", () => document.hidden || send(), { signal });
    const again = setInterval(send, AGAIN_MS);
    signal.addEventListener("abort", () => clearInterval(again));
    send();
  }

  disconnectedCallback() {
    this.#gone.abort();
  }

  /** An entry was just kept; `ended` hears what became of it: {next}, "refused", or "waits". */
  async take(key, ended) {
    await this.#sending;
    const outcome = await this.#one(this.#rows.find((row) => row.key === key));
    if (outcome === "refused") dropEntry(this.dataset.person, key);
    this.#show();
    ended(outcome);
  }

  get #rows() {
    try {
      const all = entriesOf(this.dataset.person, localStorage);
      return all.filter(({ place }) => place === this.dataset.place);
    } catch {
      return []; // a browser that keeps nothing has nothing to send
    }
  }

  #send() {
    this.#sending ??= this.#all().finally(() => (this.#sending = null));
    return this.#sending;
  }

  async #all() {
    for (const row of this.#rows.filter(({ refused }) => !refused)) {
      const outcome = await this.#one(row);
      if (outcome === "waits") break; // no line: the others wait with it
    }
    this.#show();
  }

  async #one(row) {
    if (!row) return { next: this.dataset.to }; // another page was quicker
    const answer = await this.#ask(row.fields);
    if (answer.next) {
      dropEntry(this.dataset.person, row.key);
      return answer;
    }
    if (!REFUSED.includes(answer.status) || !answer.sentence) return "waits";
    const { key, ...kept } = row;
    keepEntry(this.dataset.person, key, { ...kept, refused: answer.sentence });
    return "refused";
  }

  async #ask(fields) {
    const { to, person, tokenCookie } = this.dataset;
    const cookies = document.cookie.split("; ").map((one) => one.split("="));
    const token = cookies.find(([name]) => name === tokenCookie)?.[1] ?? "";
    const headers = { Accept: "application/json", "X-CSRFToken": token, "X-Sender": person };
    try {
      const answer = await fetch(to, { method: "POST", headers, body: new URLSearchParams(fields), redirect: "error" });
      return { status: answer.status, ...(await answer.json()) };
    } catch {
      return { status: 0 }; // no line, logged out, or no studio at its end
    }
  }

  #show() {
    const rows = this.#rows;
    this.hidden = rows.length === 0;
    this.querySelector('[data-part="rows"]').replaceChildren(...rows.map((row) => this.#row(row)));
  }

  #row({ key, fields, refused }) {
    const item = document.createElement("li");
    const said = this.#words("row").replace("[minutes]", fields.minutes).replace("[day]", fields.day);
    item.append(refused ? `${said}: ${refused} ` : said);
    if (refused) item.append(this.#removing(key));
    return item;
  }

  #removing(key) {
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = this.#words("remove");
    button.addEventListener("click", () => {
      dropEntry(this.dataset.person, key);
      this.#show();
    });
    return button;
  }

  #words(name) {
    return this.querySelector(`template[data-words="${name}"]`).content.textContent.trim();
  }
}

customElements.define("waiting-entries", WaitingEntries);
