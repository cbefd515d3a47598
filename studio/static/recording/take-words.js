// What the recorder says. Pure.

import { cents, length, megabytes, place } from "../figures.js";

const LEVELS = {
  good: "Good: loud enough, and nothing is cut off.",
  soft: "Too soft. Bring the microphone nearer.",
  silent: "Nothing is heard. Is the microphone covered or muted?",
  clipped: "Too loud: the peaks are cut off. Move the microphone further away.",
};
export const NOT_KEPT = "This device has no room left, or may keep nothing. The take is here as long as "
  + "this page is open: send it before you leave.";
export const BROKEN_OFF = "It broke off; what was recorded until then is here.";
export const CLIPPED = "In places it was too loud, and its peaks were cut off.";
export const TAKEN_AWAY = "The camera or the microphone was taken away. What was recorded is kept; turn it on again.";
export const UNCUT = "The ends of this take cannot be cut here. It can be sent as it is.";
export const ON_ITS_WAY = "It is on its way already. Sending goes on where it stopped.";
export const HEARD_ALL = "All four strings are heard.";

export function levelSaid(judged) {
  return LEVELS[judged];
}

/** What the browser does to the sound although it was asked not to; "" where it does nothing. */
export function changedSaid(done, { saysAll, isNarrow }) {
  if (done.length) {
    const many = done.length > 1;
    return `This browser changes the sound: ${joined(done)} ${many ? "are" : "is"} on and cannot be switched off here. `
      + "Soft notes may be lost, and less may be heard of two notes at once. Choose another microphone "
      + "or another browser, or film with the camera’s own program and send the file.";
  }
  if (isNarrow) {
    return "This microphone has the sound of a telephone, as wireless headsets do. Choose the device’s own microphone.";
  }
  return saysAll ? "" : "This browser does not say whether it changes the sound.";
}

export function stringSaid(off, tolerance) {
  if (Math.abs(off) <= tolerance) return "heard, in tune";
  return `heard, ${cents(Math.abs(off))} too ${off < 0 ? "low" : "high"}`;
}

/** "usual: 1280 × 720, 16.0 MB a minute" */
export function sizeSaid(name, { long, short, bits }, audioBits) {
  const minute = ((bits + audioBits) * 60) / 8;
  return `${name}: ${long} × ${short}, ${megabytes(minute)} a minute`;
}

/** Of takes that were there when the page was opened. */
export function kept(count) {
  return count === 1 ? "1 take is here and not sent yet." : `${count} takes are here and not sent yet.`;
}

/** "0:34, 9.1 MB" */
export function takeSaid({ seconds, bytes }) {
  return `${length(seconds)}, ${megabytes(bytes)}`;
}

export function cutSaid({ fromS, toS }) {
  return `From ${place(fromS, 1)} to ${place(toS, 1)} of it is sent. It can be cut only where a picture begins anew, `
    + "so up to a second more may stay at each end.";
}

export function turnedSaid(way) {
  return way === "upright"
    ? "The picture lies across. Hold the phone upright, or choose “across”."
    : "The picture stands upright. Turn the phone on its side, or choose “upright”.";
}

function joined(words) {
  return words.length < 2 ? words.join("") : `${words.slice(0, -1).join(", ")} and ${words.at(-1)}`;
}
