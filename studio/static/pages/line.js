// How fast the line is, as far as a page can tell, and which picture goes through it. Pure.
// Rates in bits a second, times in milliseconds.

const ROOM = 1.5; // a picture needs this much more than its average rate
const ENOUGH_BYTES = 20_000; // fewer say nothing: they fit into one round
const LONG_WAIT_MS = 350; // an answer that takes so long to begin came over a slow line

/**
 * The rate at which the page's own files came, or null when too little came over the line.
 * `timings`: [{bytes, begun, ended}] from the first byte to the last; 0 bytes: it was there already.
 */
export function measuredRate(timings) {
  const sent = timings.filter(({ bytes }) => bytes > 0).sort((a, b) => a.begun - b.begun);
  const bytes = sent.reduce((sum, each) => sum + each.bytes, 0);
  if (bytes < ENOUGH_BYTES) return null;
  let busy = 0;
  let until = -Infinity;
  for (const { begun, ended } of sent) {
    busy += Math.max(0, ended - Math.max(begun, until));
    until = Math.max(until, ended);
  }
  return (8000 * bytes) / Math.max(busy, 1);
}

/** "small" or "full" for a rate. */
export function pictureFor(rate, fullRate) {
  return rate >= ROOM * fullRate ? "full" : "small";
}

/**
 * "small", "full", or null when only a try can tell. `kept`: what the person chose on this device;
 * `connection`: what the browser says of it, where it does; `waitedMs`: how long the page itself
 * took to begin.
 */
export function choose({ kept, connection, timings, waitedMs, fullRate }) {
  if (kept === "small" || kept === "full") return kept;
  if (connection?.saveData) return "small";
  const said = connection?.downlink > 0 ? connection.downlink * 1e6 : null;
  const measured = measuredRate(timings);
  const known = [said, measured].filter((rate) => rate !== null);
  if (known.length) return pictureFor(Math.min(...known), fullRate);
  return waitedMs >= LONG_WAIT_MS ? "small" : null;
}
