// One recording on its way, in pieces, by tus-js-client. It goes on after a lost connection, a
// reload and a closed tab: the address of what was begun is kept with the file's name and size.

import "../vendor/tus-js-client-4.3.1/tus.min.js";
import { outcome, sentenceOf, worthAnother } from "./answers.js";

const PIECE_BYTES = 8 * 1024 * 1024; // cut from the file on disk, never read whole
const RETRY_MS = [500, 1000, 2000, 4000, 8000, ...Array(240).fill(15_000)]; // for an hour
const STALL_MS = 45_000; // no byte for so long: the connection is dead, though nobody said so
const LOOK_MS = 5_000;
const STOPPED = "Stopped. What has arrived is kept for a day: "
  + "press “Send it again”, and it goes on from there.";

/**
 * Start sending, or go on. `words()`: what the page says now, names and texts. `progress(loaded,
 * total)` and `waiting(kept)` in bytes; `arrived()` once all is there. `stop()` breaks it off.
 * `ended` never rejects: it gives {next} when it was taken, else {sentence, refused}.
 */
export function upload(file, { address, arrivedAt, token, words, progress, waiting, arrived }) {
  let kept = 0;
  let moved = Date.now();
  let settle;
  let over = false;
  const ended = new Promise((resolve) => { settle = resolve; });
  const listening = new AbortController();
  const way = new globalThis.tus.Upload(file, {
    endpoint: address,
    chunkSize: PIECE_BYTES,
    retryDelays: RETRY_MS,
    removeFingerprintOnSuccess: true,
    headers: { "X-CSRFToken": token },
    // Here and not as the library's metadata, which it would keep in this browser.
    onBeforeRequest: (request) => {
      if (["POST", "PATCH"].includes(request.getMethod())) {
        request.setHeader("Upload-Metadata", encoded(words()));
      }
    },
    onAfterResponse: (request, response) => {
      kept = Number(response.getHeader("Upload-Offset") ?? kept);
      moved = Date.now();
    },
    onProgress: (loaded, total) => {
      moved = Date.now();
      if (loaded < total) {
        progress(loaded, total);
      } else {
        arrived();
      }
    },
    onShouldRetry: (error) => {
      const again = worthAnother(error.originalResponse?.getStatus() ?? 0);
      if (again) {
        waiting(kept);
      }
      return again;
    },
    onError: (error) => end({ sentence: sentenceOf(plain(error.originalResponse)), refused: false }),
    onSuccess: async () => {
      arrived();
      end(await asked(arrivedAt(way.url.split("/").at(-2)), token, () => waiting(kept)));
    },
  });

  function end(result) {
    over = true;
    listening.abort();
    clearInterval(watch);
    settle(result);
  }

  /** Try at once on a new connection instead of waiting for the old one. */
  async function anew() {
    moved = Date.now();
    await way.abort();
    if (!over) {
      way.start();
    }
  }

  /** The browser knows that the network is gone: say so at once, and wait for it. */
  async function pause() {
    await way.abort();
    if (!over) {
      moved = Date.now();
      waiting(kept);
    }
  }

  const watch = setInterval(() => Date.now() - moved > STALL_MS && anew(), LOOK_MS);
  window.addEventListener("online", anew, { signal: listening.signal });
  window.addEventListener("offline", pause, { signal: listening.signal });
  begin(way);
  return {
    ended,
    stop: () => {
      way.abort();
      end({ sentence: STOPPED, refused: false });
    },
  };
}

/** `crypto.randomUUID` exists only on https and on this machine itself; this is everywhere. */
export function newKey() {
  return Array.from(crypto.getRandomValues(new Uint8Array(16)), (byte) =>
    byte.toString(16).padStart(2, "0")).join("");
}

async function begin(way) {
  const before = await way.findPreviousUploads().catch(() => []);
  before.sort((one, other) => Date.parse(other.creationTime) - Date.parse(one.creationTime));
  if (before.length) {
    way.resumeFromPreviousUpload(before[0]);
  }
  way.start();
}

/** Ask what became of it, as often as it takes to get an answer. */
async function asked(address, token, waiting) {
  const headers = { "X-CSRFToken": token, Accept: "application/json" };
  for (const ms of RETRY_MS) {
    try {
      const response = await fetch(address, { method: "POST", headers });
      const type = response.headers.get("Content-Type") ?? "";
      return outcome({ status: response.status, type, body: await response.text() });
    } catch {
      waiting();
      await new Promise((resolve) => { setTimeout(resolve, ms); });
    }
  }
  return { sentence: sentenceOf({ status: 503, type: "", body: "" }), refused: false };
}

function plain(response) {
  return {
    status: response?.getStatus() ?? 503,
    type: response?.getHeader("Content-Type") ?? "",
    body: response?.getBody() ?? "",
  };
}

/** Names and texts as tus wants them: base64 of UTF-8. */
function encoded(words) {
  const base64 = (text) => btoa(String.fromCharCode(...new TextEncoder().encode(text)));
  return Object.entries(words).map(([name, text]) => `${name} ${base64(text)}`).join(",");
}
