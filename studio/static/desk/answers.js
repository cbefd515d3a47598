// One exchange with the server: an act is posted, and the answer read. HTML comes back whose elements
// stand in for those with the same ids, or a status that says why not.

import { gettext } from "../translation.js";

const PATIENCE_MS = 20_000; // a line that says nothing for so long is taken for lost
const PATIENCE_WITH_FILE_MS = 900_000;

const WHY = {
  403: gettext("You may no longer change this clip, so this was not done."),
  404: gettext("This is not there any more: somebody took it away in the meantime."),
  413: gettext("This is too large to be sent."),
  500: gettext("The server could not do this, though it was tried several times."),
};

export class Answers {
  #token;
  #person;
  #listening;
  #standing;

  constructor(root) {
    this.#token = root.querySelector("[name='csrfmiddlewaretoken']").value;
    this.#person = root.dataset.person;
    this.#listening = root.dataset.listening;
    this.#standing = root.dataset.standing;
  }

  /** What becomes of an act: { outcome, parts, version, said, why }; see outbox.js. */
  async post(act, file, again = false) {
    const answer = await fetch(act.action, {
      method: "POST",
      body: bodyOf(act, file),
      headers: this.#headers({ "X-Act": act.key, "X-CSRFToken": this.#token }),
      signal: AbortSignal.timeout(file ? PATIENCE_WITH_FILE_MS : PATIENCE_MS),
    });
    const { status } = answer;
    const why = heldBy(answer);
    if (why) return { outcome: "held", why };
    if (status === 403 && !again) return this.#withNewToken(act, file);
    if (answer.ok) return { outcome: "done", ...(await this.#read(answer)) };
    if ([409, 422].includes(status)) return { outcome: "refused", ...(await this.#read(answer)) };
    if (WHY[status] && status < 500) return { outcome: "refused", why: WHY[status] };
    return { outcome: "failed", why: WHY[500] };
  }

  /** All that stands now: the same as an answer; null where it cannot be had. */
  async standing() {
    try {
      const signal = AbortSignal.timeout(PATIENCE_MS);
      const answer = await fetch(this.#standing, { headers: this.#headers(), signal });
      const why = heldBy(answer);
      if (why) return { outcome: "held", why };
      return answer.ok ? { outcome: "done", ...(await this.#read(answer)) } : null;
    } catch {
      return null;
    }
  }

  /** The session's token may have gone with the session: another log-in has another. */
  async #withNewToken(act, file) {
    const standing = await this.standing();
    if (standing?.outcome === "held") return standing;
    return this.post(act, file, true);
  }

  async #read(answer) {
    const template = document.createElement("template");
    template.innerHTML = await answer.text();
    const parts = [...template.content.children];
    const token = template.content.querySelector("[name='csrfmiddlewaretoken']");
    if (token) this.#token = token.value;
    const said = parts.find(({ id }) => id === "said")?.textContent ?? "";
    const articles = [...template.content.querySelectorAll("[data-about]")];
    const marks = articles.map(({ dataset }) => ({ mark: dataset.about, choice: dataset.choice }));
    const rest = parts.filter(({ id }) => id && id !== "said");
    return { parts: rest, marks, said, why: said, version: Number(answer.headers.get("X-Version")) };
  }

  #headers(more = {}) {
    const asked = { "X-Desk": "parts", "X-Person": this.#person, ...more };
    return this.#listening ? { ...asked, "X-Listening": this.#listening } : asked;
  }
}

/** Why nothing can be done in this person's name: nobody is logged in, or somebody else. */
const heldBy = (answer) => (answer.redirected ? "log-in" : answer.headers.get("X-Held"));

function bodyOf({ fields }, file) {
  const body = new FormData();
  for (const [name, value] of fields) body.append(name, value);
  if (file) body.append(file.name, file.file);
  return body;
}
