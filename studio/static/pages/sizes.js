// What can be refused before anything is sent. Pure.

import { length, megabytes } from "../figures.js";
import { gettext } from "../translation.js";

/**
 * Why a chosen file cannot be sent, as a sentence, or "" when it may be tried.
 *
 * `file`: {name, size, type}. `durationS`: seconds, or null when the browser could not tell.
 * `opens`: whether the browser could open it as a recording. `limits`: {bytes, s, endings}.
 * What only the browser cannot open may still be sent: the server decides.
 */
export function refusal(file, { durationS, opens }, limits) {
  if (file.size === 0) {
    return gettext("The file is empty. Record or choose it again.");
  }
  if (file.size > limits.bytes) {
    return gettext("The file is %(size)s; at most %(most)s can be sent. "
      + "Film a shorter clip, or choose a lower picture quality in the camera’s settings.", {
      size: megabytes(file.size),
      most: megabytes(limits.bytes),
    });
  }
  if (durationS !== null && durationS > limits.s) {
    return gettext("The recording lasts %(length)s; at most %(most)s can be sent. "
      + "Cut it into shorter clips and send them one by one.", {
      length: length(durationS),
      most: length(limits.s),
    });
  }
  if (!opens && !looksLikeRecording(file, limits.endings)) {
    return gettext("This does not look like a recording. Choose a video (MP4, MOV, WebM) or a sound file "
      + "(M4A, MP3, WAV, FLAC, OGG).");
  }
  return "";
}

function looksLikeRecording({ name, type }, endings) {
  const ending = name.includes(".") ? `.${name.split(".").pop().toLowerCase()}` : "";
  return endings.includes(ending) || /^(video|audio)\//.test(type);
}
