// Where a sending stands, in words. What has arrived is what the server has on its disk, and
// nothing else is counted. Pure.

import { megabytes, percent, wait } from "../figures.js";
import { gettext } from "../translation.js";

const WORDS = {
  sending: gettext("Sending"),
  waiting: gettext("Waiting for the connection. It goes on by itself."),
  stopped: gettext("Stopped by you. What has arrived is kept for a day."),
  out: gettext("Sending rests until you are logged in as yourself again."),
  checking: gettext("All of it has arrived. It is being looked at."),
  ended: gettext("Sending has ended."),
};

/** `state`: sending, waiting, stopped, out, checking, ended. */
export function inWords(state) {
  return WORDS[state];
}

/**
 * (2.1e6, 30e6, 130) -> "2.1 MB of 30.0 MB have arrived (7 %), about 2 minutes left". Whoever is
 * logged out cannot ask: that nothing was known to have arrived does not say that nothing has.
 */
export function amount(arrived, total, seconds = null, state = "sending") {
  if (!arrived && state === "out") {
    return gettext("How much has arrived shows once you are logged in");
  }
  if (!arrived) {
    return gettext("Nothing of %(all)s has arrived yet", { all: megabytes(total) });
  }
  const share = `${percent(arrived, total)} %`;
  const said = { part: megabytes(arrived), all: megabytes(total), share };
  if (seconds === null || arrived === total) return gettext("%(part)s of %(all)s have arrived (%(share)s)", said);
  return gettext("%(part)s of %(all)s have arrived (%(share)s), %(wait)s left", { ...said, wait: wait(seconds) });
}
