// What a timer has counted, from the times at which it was begun and paused. Pure; times in ms since
// 1970, by the wall clock, so that a locked phone and a reload count on.
//
// `marks`: begun, paused, begun again ... in this order; an odd number of them: it runs.

const MINUTE_MS = 60_000;

export const isRunning = (marks) => marks.length % 2 === 1;

/** How long was played, in ms. A clock that was put back counts nothing. */
export function played(marks, now) {
  return portions(marks, now).reduce((sum, { lasted }) => sum + lasted, 0);
}

/** The longest stretch, in ms: a pause shorter than `restMs` ends none, and is not counted. */
export function unbroken(marks, now, restMs) {
  return Math.max(0, ...stretches(marks, now, restMs));
}

/** How long the present stretch has lasted, in ms; 0 after a rest, and before anything. */
export function sinceRest(marks, now, restMs) {
  if (!marks.length) return 0;
  const rested = !isRunning(marks) && now - marks.at(-1) >= restMs;
  return rested ? 0 : stretches(marks, now, restMs).at(-1);
}

/** Whole minutes, to the nearest; something is never nothing. */
export function inMinutes(ms) {
  return ms > 0 ? Math.max(1, Math.round(ms / MINUTE_MS)) : 0;
}

/** Minutes that have passed, as a clock shows them. */
export function passed(ms) {
  return Math.floor(ms / MINUTE_MS);
}

function stretches(marks, now, restMs) {
  const found = [];
  let ended = -Infinity;
  for (const { begun, until, lasted } of portions(marks, now)) {
    if (begun - ended < restMs) found.push(found.pop() + lasted);
    else found.push(lasted);
    ended = until;
  }
  return found;
}

function portions(marks, now) {
  const found = [];
  for (let n = 0; n < marks.length; n += 2) {
    const [begun, until] = [marks[n], marks[n + 1] ?? now];
    found.push({ begun, until, lasted: Math.max(0, until - begun) });
  }
  return found;
}
