// What is asked of cameras and microphones, and what they say that they do. Pure but for `named`.

import { gettext } from "../translation.js";
import { SOUND } from "./capture.js";

/** Sizes of the picture: its sides in pixels, and the rate it is kept at. */
export const SIZES = {
  usual: { long: 1280, short: 720, bits: 2_000_000 },
  small: { long: 640, short: 360, bits: 400_000 }, // a fifth to send
};
const PHONE_CALL_HZ = 24_000; // a microphone that gives less is one for talking
const DOES = [
  ["echoCancellation", gettext("echo cancellation")],
  ["noiseSuppression", gettext("noise suppression")],
  ["autoGainControl", gettext("automatic loudness")],
  ["voiceIsolation", gettext("voice isolation")],
];

/**
 * The constraints for getUserMedia. `chosen`: {kind, camera, microphone, size, way}; empty where
 * nothing was chosen. `turns`: whether the camera turns with the device, as a phone's; then its
 * picture lies as the phone is held, and may not be asked for otherwise.
 */
export function asked({ kind, camera, microphone, size, way }, turns) {
  const audio = { ...SOUND, ...(microphone && { deviceId: { exact: microphone } }) };
  if (kind === "voice") return { audio, video: false };
  const { long, short } = SIZES[size];
  const [width, height] = way === "upright" && !turns ? [short, long] : [long, short];
  const which = camera ? { deviceId: { exact: camera } } : { facingMode: "user" };
  return { audio, video: { ...which, width: { ideal: width }, height: { ideal: height } } };
}

/** What a microphone's track does to the sound, in words; from its `getSettings()`. */
export function doneTo(settings) {
  return DOES.filter(([name]) => settings[name]).map(([, words]) => words);
}

/** Whether the track says of all that is asked for that it is off. */
export function saysAll(settings) {
  return Object.keys(SOUND).every((name) => name in settings);
}

/** Whether it gives the sound of a telephone, as headsets without a cord do. */
export function isNarrow({ sampleRate }) {
  return sampleRate !== undefined && sampleRate < PHONE_CALL_HZ;
}

/** {cameras, microphones}: [{id, name}], as far as the browser tells. */
export async function named() {
  const all = await navigator.mediaDevices.enumerateDevices();
  const of = (kind, named) => all
    .filter((device) => device.kind === kind && device.deviceId)
    .map(({ deviceId, label }, at) => ({ id: deviceId, name: label || named(at + 1) }));
  return {
    cameras: of("videoinput", (number) => gettext("Camera %(number)s", { number })),
    microphones: of("audioinput", (number) => gettext("Microphone %(number)s", { number })),
  };
}
