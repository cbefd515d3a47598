// What every recorder says. Pure.

import { length, place } from "../figures.js";
import { gettext } from "../translation.js";

const WORDS = {
  voice: {
    refused: gettext("The browser was not allowed to use the microphone. Allow it beside the page’s address, "
      + "then press again; or choose a file."),
    missing: gettext("No microphone was found. Connect one, then press again; or choose a file."),
    taken: gettext("Another program is using the microphone. Close it, then press again; or choose a file."),
  },
  video: {
    refused: gettext("The browser was not allowed to use the camera or microphone. Allow it beside the page’s "
      + "address, then press again; or choose a file."),
    missing: gettext("No camera or microphone was found. Connect one, then press again; or choose a file."),
    taken: gettext("Another program is using the camera or microphone. Close it, then press again; or choose a file."),
  },
};
const WHY = {
  NotAllowedError: "refused",
  SecurityError: "refused",
  NotFoundError: "missing",
  OverconstrainedError: "missing",
  NotReadableError: "taken",
  AbortError: "taken",
};

/** Why it cannot record, and what to do. `name` is the error's. */
export function whyNot(name, kind) {
  return WORDS[kind][WHY[name]] ?? gettext("This browser cannot record here. Record with another program, then choose the file.");
}

/** "0:07 of 3:00" */
export function running(seconds, mostS) {
  return gettext("%(now)s of %(most)s", { now: place(seconds), most: length(mostS) });
}
