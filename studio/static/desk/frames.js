// Which frame shows when. Pure. Times are seconds, ascending, one a frame: those of the playable
// copy, whose frames need not be evenly spaced.

const EDGE_S = 0.0006; // a browser's time of a frame may miss the table's by its rounding

/** The times from the desk's document; null where there is none. */
export function timesOf(document) {
  if (!document) return null;
  let ticks = 0;
  return document.steps.map((step) => (ticks += step) * document.unit_s);
}

/** The number of the frame that shows at a time, from 0. */
export function frameIn(times, seconds) {
  let low = 0;
  let high = times.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (times[middle] <= seconds + EDGE_S) low = middle + 1;
    else high = middle;
  }
  return Math.max(low - 1, 0);
}

/** The middle of the frame that shows at a time. */
export function middleOf(times, seconds, duration) {
  return steppedIn(times, seconds, 0, duration);
}

/** The middle of the frame some frames on: seeking to a frame's edge may show its neighbour. */
export function steppedIn(times, seconds, by, duration) {
  const frame = Math.min(Math.max(frameIn(times, seconds) + by, 0), times.length - 1);
  const end = Math.max(times[frame + 1] ?? duration, times[frame]);
  return (times[frame] + end) / 2;
}
