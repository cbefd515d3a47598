// What the recorder says. Pure.

import { cents, length, megabytes, place } from "../figures.js";
import { gettext, ngettext } from "../translation.js";

const LEVELS = {
  good: gettext("Good: loud enough, and nothing is cut off."),
  soft: gettext("Too soft. Bring the microphone nearer."),
  silent: gettext("Nothing is heard. Is the microphone covered or muted?"),
  clipped: gettext("Too loud: the peaks are cut off. Move the microphone further away."),
};
const SIZES = { usual: gettext("usual"), small: gettext("small") };
export const NOT_KEPT = gettext("This device has no room left, or may keep nothing. The take is here as long as "
  + "this page is open: send it before you leave.");
export const BROKEN_OFF = gettext("It broke off; what was recorded until then is here.");
export const CLIPPED = gettext("In places it was too loud, and its peaks were cut off.");
export const TAKEN_AWAY = gettext("The camera or the microphone was taken away. What was recorded is kept; "
  + "turn it on again.");
export const UNCUT = gettext("The ends of this take cannot be cut here. It can be sent as it is.");
export const ON_ITS_WAY = gettext("It is on its way already. Sending goes on where it stopped.");
export const HEARD_ALL = gettext("All four strings are heard.");

export function levelSaid(judged) {
  return LEVELS[judged];
}

/** What the browser does to the sound although it was asked not to; "" where it does nothing. */
export function changedSaid(done, { saysAll, isNarrow }) {
  if (done.length) {
    const what = ngettext("This browser changes the sound: %(what)s is on and cannot be switched off here.",
      "This browser changes the sound: %(what)s are on and cannot be switched off here.",
      done.length, { what: joined(done) });
    const then = gettext("Soft notes may be lost, and less may be heard of two notes at once. Choose another microphone "
      + "or another browser, or film with the camera’s own program and send the file.");
    return `${what} ${then}`;
  }
  if (isNarrow) {
    return gettext("This microphone has the sound of a telephone, as wireless headsets do. Choose the device’s "
      + "own microphone.");
  }
  return saysAll ? "" : gettext("This browser does not say whether it changes the sound.");
}

export function stringSaid(off, tolerance) {
  if (Math.abs(off) <= tolerance) return gettext("heard, in tune");
  const size = { cents: cents(Math.abs(off)) };
  return off < 0 ? gettext("heard, %(cents)s too low", size) : gettext("heard, %(cents)s too high", size);
}

/** "usual: 1280 × 720, 16.0 MB a minute" */
export function sizeSaid(size, { long, short, bits }, audioBits) {
  const minute = ((bits + audioBits) * 60) / 8;
  return gettext("%(size)s: %(long)s × %(short)s, %(bytes)s a minute", {
    size: SIZES[size] ?? size,
    long,
    short,
    bytes: megabytes(minute),
  });
}

/** Of takes that were there when the page was opened. */
export function kept(count) {
  return ngettext("%(count)s take is here and not sent yet.", "%(count)s takes are here and not sent yet.", count);
}

export function keptAndNow(count) {
  return `${kept(count)} ${gettext("Send one, or record another.")}`;
}

/** "0:34, 9.1 MB" */
export function takeSaid({ seconds, bytes }) {
  return `${length(seconds)}, ${megabytes(bytes)}`;
}

export function cutSaid({ fromS, toS }) {
  return gettext("From %(from)s to %(to)s of it is sent. It can be cut only where a picture begins anew, "
    + "so up to a second more may stay at each end.", { from: place(fromS, 1), to: place(toS, 1) });
}

export function turnedSaid(way) {
  return way === "upright"
    ? gettext("The picture lies across. Hold the phone upright, or choose “across”.")
    : gettext("The picture stands upright. Turn the phone on its side, or choose “upright”.");
}

function joined(words) {
  return words.length < 2 ? words.join("") : gettext("%(others)s and %(last)s", {
    others: words.slice(0, -1).join(", "),
    last: words.at(-1),
  });
}
