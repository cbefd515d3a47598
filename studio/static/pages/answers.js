// What the server's answers on sending mean: whether to try again, and the sentence to show. Pure.

const OURS = "Something went wrong on our side. What has arrived is kept: "
  + "wait a minute, then press “Send it again”.";
const LOGGED_OUT = "Your log-in may have run out. What has arrived is kept: load this page again, "
  + "log in, choose the same recording, and sending goes on from there.";
const FULL = 507;

/** Whether a failed request is worth another try. `status`: 0 when there was no answer. */
export function worthAnother(status) {
  const moved = status === 409 || status === 423; // behind by an offset, or another connection's
  return status === 0 || moved || (status >= 500 && status !== FULL);
}

/** The sentence of an answer that ends the sending: the server's own when it has one. */
export function sentenceOf({ status, type, body }) {
  if (type.startsWith("text/plain") && body) {
    return body;
  }
  return said(type, body)?.sentence ?? (status >= 500 ? OURS : LOGGED_OUT);
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
