// What every recorder says. Pure.

import { length, place } from "../figures.js";

const DEVICES = { voice: "microphone", video: "camera or microphone" };

/** Why it cannot record, and what to do. `name` is the error's. */
export function whyNot(name, kind) {
  const devices = DEVICES[kind];
  if (name === "NotAllowedError" || name === "SecurityError") {
    return `The browser was not allowed to use the ${devices}. Allow it beside the page’s address, `
      + "then press again; or choose a file.";
  }
  if (name === "NotFoundError" || name === "OverconstrainedError") {
    return `No ${devices} was found. Connect one, then press again; or choose a file.`;
  }
  if (name === "NotReadableError" || name === "AbortError") {
    return `Another program is using the ${devices}. Close it, then press again; or choose a file.`;
  }
  return "This browser cannot record here. Record with another program, then choose the file.";
}

/** "0:07 of 3:00" */
export function running(seconds, mostS) {
  return `${place(seconds)} of ${length(mostS)}`;
}
