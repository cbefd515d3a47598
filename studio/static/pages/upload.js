// One recording on its way: the file as the body, the words about it in headers.

const LOST = "The connection was lost. Your recording is still chosen here: "
  + "when you are online again, press “Send it again”.";
const STOPPED = "Stopped. Your recording is still chosen here.";
const OURS = "Something went wrong on our side. Your recording is still chosen here: "
  + "wait a minute, then press “Send it again”.";
const LOGGED_OUT = "Your log-in may have run out. Load this page again, log in, "
  + "and send the recording once more.";

/**
 * Start sending. `headers`: plain texts, percent-encoded here. `progress(loaded, total)` in bytes;
 * `arrived()` once the last byte is out. `stop()` breaks it off. `ended` never rejects: it gives
 * {next} when it was taken, else {sentence, refused}; `refused` says that the recording itself was.
 */
export function upload(file, { address, token, headers, progress, arrived }) {
  const request = new XMLHttpRequest();
  request.open("POST", address);
  request.setRequestHeader("Content-Type", "application/octet-stream");
  request.setRequestHeader("X-CSRFToken", token);
  for (const [name, text] of Object.entries(headers)) {
    request.setRequestHeader(name, encodeURIComponent(text));
  }
  request.upload.onprogress = ({ loaded, total }) => progress(loaded, total);
  request.upload.onload = arrived;
  const ended = new Promise((resolve) => {
    request.onload = () => resolve(outcome(request));
    request.onerror = () => resolve({ sentence: LOST, refused: false });
    request.onabort = () => resolve({ sentence: STOPPED, refused: false });
  });
  request.send(file);
  return { ended, stop: () => request.abort() };
}

/** `crypto.randomUUID` exists only on https and on this machine itself; this is everywhere. */
export function newKey() {
  return Array.from(crypto.getRandomValues(new Uint8Array(16)), (byte) =>
    byte.toString(16).padStart(2, "0")).join("");
}

function outcome({ status, responseText }) {
  const answer = parsed(responseText);
  if (status === 201 && answer) {
    return { next: answer.next };
  }
  const otherwise = status >= 500 ? OURS : LOGGED_OUT;
  return { sentence: answer?.sentence ?? otherwise, refused: status === 422 };
}

function parsed(text) {
  try {
    return JSON.parse(text);
  } catch {
    return null;
  }
}
