// What the server's answers on sending mean: whether to try again, and the sentence to show. Pure.

import { gettext } from "../translation.js";

const OURS = gettext("Something went wrong on our side. What has arrived is kept: "
  + "wait a minute, then press “Send it again”.");
const OTHERWISE = gettext("It could not be sent. What has arrived is kept: load this page again, "
  + "choose the same recording, and sending goes on from there.");
const TOO_LARGE = gettext("The file is too large to be sent. Film a shorter clip, or choose a lower picture "
  + "quality in the camera’s settings.");
const LOGGED_OUT = gettext("You are logged out.");
export const UNREADABLE = gettext("The recording cannot be read on this device any more: it was moved, "
  + "changed or removed. What has arrived is kept for a day. Choose it again, then send it.");
const FULL = 507;

/** Whether a failed request is worth another try. `status`: 0 when there was no answer. */
export function worthAnother(status) {
  const moved = status === 409 || status === 423; // behind by an offset, or another connection's
  const spoilt = status === 460; // the bytes changed on their way, and were discarded
  return status === 0 || moved || spoilt || (status >= 500 && status !== FULL);
}

/**
 * Whether the session is over, or somebody else's. A page of the token's refusal (403) means that
 * too: logging in changes the token, and the page's cookie may be gone.
 */
export function isOut({ status, type }) {
  return status === 401 || (status === 403 && type.startsWith("text/html"));
}

/** The sentence of an answer that ends the sending: the server's own when it has one. */
export function sentenceOf({ status, type, body }) {
  if (type.startsWith("text/plain") && body) {
    return body;
  }
  const own = said(type, body)?.sentence;
  if (own || status >= 500) {
    return own ?? OURS;
  }
  return { 401: LOGGED_OUT, 403: LOGGED_OUT, 413: TOO_LARGE }[status] ?? OTHERWISE;
}

/** What became of a recording, from the answer to its last question: {next} or {sentence}. */
export function outcome({ status, type, body }) {
  const answer = said(type, body);
  if (answer?.next) {
    return { next: answer.next };
  }
  return { sentence: sentenceOf({ status, type, body }), refused: status === 422 };
}

function said(type, body) {
  try {
    return type.startsWith("application/json") ? JSON.parse(body) : null;
  } catch {
    return null;
  }
}
