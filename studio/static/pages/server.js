// Asking the server about one recording on its way. Every request names the person whose page it
// is, and carries the token as the cookie has it now: a log-in in another tab changes it.

const HEAD_MS = 20_000;

/** `at`: the addresses. `sender`: the person. `tokenCookie`: what the token's cookie is called. */
export class Server {
  #at;
  #sender;
  #cookie;

  constructor({ action, at, sender, tokenCookie }) {
    this.#at = { uploads: action, send: at };
    this.#sender = sender;
    this.#cookie = tokenCookie;
  }

  get #headers() {
    const cookies = document.cookie.split("; ").map((one) => one.split("="));
    const token = cookies.find(([name]) => name === this.#cookie)?.[1] ?? "";
    return { "X-CSRFToken": token, "X-Sender": this.#sender };
  }

  /** Begin a recording, or find what was begun of it: {status, type, body, address}. */
  begin(length, said) {
    return this.#ask(this.#at.uploads, "POST", {
      "Tus-Resumable": "1.0.0",
      "Upload-Length": String(length),
      "Upload-Metadata": encoded(said),
    });
  }

  /** How far it is: {status, type, body, offset}. */
  head(address) {
    const signal = AbortSignal.timeout(HEAD_MS);
    return this.#ask(address, "HEAD", { "Tus-Resumable": "1.0.0" }, null, { signal });
  }

  /** Send what comes after `offset`; `signal` breaks it off. */
  patch(address, offset, piece, signal) {
    const headers = {
      "Tus-Resumable": "1.0.0",
      "Upload-Offset": String(offset),
      "Content-Type": "application/offset+octet-stream",
    };
    return this.#ask(address, "PATCH", headers, piece, { signal });
  }

  /** What became of it; `words` are those of the page by now. */
  arrived(address, words) {
    return this.#ask(this.#page(address, "arrived"), "POST", {}, new URLSearchParams(words));
  }

  /** Tell the words; the page may be closing. */
  say(address, words) {
    const body = new URLSearchParams(words);
    return this.#ask(this.#page(address, "words"), "POST", {}, body, { keepalive: true });
  }

  #page(address, what) {
    return `${this.#at.send}${address.split("/").at(-2)}/${what}/`;
  }

  /** Status 0 where no answer came. */
  async #ask(address, method, more, body = null, options = {}) {
    const headers = { ...this.#headers, Accept: "application/json, text/plain", ...more };
    try {
      const answer = await fetch(address, { method, headers, body, redirect: "error", ...options });
      const said = (name) => answer.headers.get(name);
      return {
        status: answer.status,
        type: said("Content-Type") ?? "",
        body: (await answer.text()) || decodeURIComponent(said("X-Sentence") ?? ""),
        address: said("Location"),
        offset: said("Upload-Offset") === null ? null : Number(said("Upload-Offset")),
      };
    } catch {
      return { status: 0, type: "", body: "", address: null, offset: null };
    }
  }
}

/** `crypto.randomUUID` exists only on https and on this machine itself; this is everywhere. */
export function newKey() {
  return Array.from(crypto.getRandomValues(new Uint8Array(16)), (byte) =>
    byte.toString(16).padStart(2, "0")).join("");
}

/** Names and texts as tus wants them: base64 of UTF-8. */
function encoded(said) {
  const base64 = (text) => btoa(String.fromCharCode(...new TextEncoder().encode(text)));
  return Object.entries(said).map(([name, text]) => `${name} ${base64(text)}`.trim()).join(",");
}
