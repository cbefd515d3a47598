// What can be refused before anything is sent. Pure.

import { length, megabytes } from "../figures.js";

/**
 * Why a chosen file cannot be sent, as a sentence, or "" when it may be tried.
 *
 * `file`: {name, size, type}. `durationS`: seconds, or null when the browser could not tell.
 * `opens`: whether the browser could open it as a recording. `limits`: {bytes, s, endings}.
 * What only the browser cannot open may still be sent: the server decides.
 */
export function refusal(file, { durationS, opens }, limits) {
  if (file.size === 0) {
    return "The file is empty. Record or choose it again.";
  }
  if (file.size > limits.bytes) {
    return `The file is ${megabytes(file.size)}; at most ${megabytes(limits.bytes)} can be sent. `
      + "Film a shorter clip, or choose a lower picture quality in the camera’s settings.";
  }
  if (durationS !== null && durationS > limits.s) {
    return `The recording lasts ${length(durationS)}; at most ${length(limits.s)} can be sent. `
      + "Cut it into shorter clips and send them one by one.";
  }
  if (!opens && !looksLikeRecording(file, limits.endings)) {
    return "This does not look like a recording. Choose a video (MP4, MOV, WebM) or a sound file "
      + "(M4A, MP3, WAV, FLAC, OGG).";
  }
  return "";
}

function looksLikeRecording({ name, type }, endings) {
  const ending = name.includes(".") ? `.${name.split(".").pop().toLowerCase()}` : "";
  return endings.includes(ending) || /^(video|audio)\//.test(type);
}
