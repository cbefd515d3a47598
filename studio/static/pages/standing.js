// Where a sending stands, in words. What has arrived is what the server has on its disk, and
// nothing else is counted. Pure.

import { megabytes, percent, wait } from "../figures.js";

const WORDS = {
  sending: "Sending",
  waiting: "Waiting for the connection. It goes on by itself.",
  stopped: "Stopped by you. What has arrived is kept for a day.",
  out: "Sending rests until you are logged in as yourself again.",
  checking: "All of it has arrived. It is being looked at.",
  ended: "Sending has ended.",
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
    return "How much has arrived shows once you are logged in";
  }
  if (!arrived) {
    return `Nothing of ${megabytes(total)} has arrived yet`;
  }
  const left = seconds === null || arrived === total ? "" : `, ${wait(seconds)} left`;
  const share = `(${percent(arrived, total)} %)`;
  return `${megabytes(arrived)} of ${megabytes(total)} have arrived ${share}${left}`;
}
