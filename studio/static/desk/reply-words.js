// What the recorder says. Pure.

import { length, megabytes } from "../figures.js";
import { gettext } from "../translation.js";

export const KEPT_HERE = gettext("Kept in this browser until it is sent. It goes with what you write here.");
export const NOT_KEPT = gettext("This browser cannot keep it: send it before you leave the page.");
export const FROM_BEFORE = gettext("Recorded earlier and not sent yet. Hear it, then send it or remove it.");
export const THERE_ALREADY = gettext("There is a reply already. Add it, or press Record voice to make another.");
export const NOTHING_HEARD = gettext("Nothing is heard. Is the microphone muted or covered?");

export { running, whyNot } from "../recording/capture-words.js";

export function reached(mostS) {
  return gettext("%(most)s is the most, so the recording stopped.", { most: length(mostS) });
}

/** What will be sent: "0:07, 0.2 MB", or a chosen file's name, whose length is not known. */
export function described(file, seconds = null) {
  return [seconds === null ? file.name : length(seconds), megabytes(file.size)].join(", ");
}

/** Why a file is too large to send, or "". */
export function tooLarge(file, mostBytes) {
  if (file.size <= mostBytes) return "";
  return gettext("The file is %(size)s; at most %(most)s can be sent. Choose a shorter one.", {
    size: megabytes(file.size),
    most: megabytes(mostBytes),
  });
}
