// From time to pixels and back. Pure: a view is a plain frozen object
// { from, to, width, duration }: seconds shown at the left and right edge, CSS pixels, seconds.

export const SHORTEST_S = 0.02; // one step of a pitch line: nothing finer is known
const TICK_STEPS = [1, 2, 5, 10, 15, 30, 60, 120, 300, 600];
const MARGIN = 0.12; // of the width, left free ahead of the play head

/** The whole clip. */
export function whole(duration, width) {
  return view(0, Math.max(duration, SHORTEST_S), width, Math.max(duration, SHORTEST_S));
}

export function xOf(v, seconds) {
  return ((seconds - v.from) / (v.to - v.from)) * v.width;
}

export function secondsAt(v, x) {
  return v.from + (x / v.width) * (v.to - v.from);
}

export function pxPerSecond(v) {
  return v.width / (v.to - v.from);
}

/** The same span of time in another width. */
export function resized(v, width) {
  return view(v.from, v.to, width, v.duration);
}

/** Zoomed by a factor above 1 (nearer) or below (farther); the anchor stays where it is. */
export function zoomed(v, factor, anchor) {
  const length = clamp((v.to - v.from) / factor, Math.min(SHORTEST_S, v.duration), v.duration);
  const share = (anchor - v.from) / (v.to - v.from);
  return shifted(v, anchor - share * length, length);
}

/** Moved by some seconds; positive is later. */
export function panned(v, seconds) {
  return shifted(v, v.from + seconds, v.to - v.from);
}

/** A span with some room about it. */
export function fitted(v, start, end) {
  const length = clamp((end - start) * 1.5, Math.min(SHORTEST_S, v.duration), v.duration);
  return shifted(v, (start + end) / 2 - length / 2, length);
}

/** The view that shows a moment: the same one while it is inside, else a page further. */
export function following(v, seconds) {
  const length = v.to - v.from;
  if (seconds >= v.from && seconds <= v.to - MARGIN * length) return v;
  if (seconds > v.from && v.to >= v.duration) return v;
  return shifted(v, seconds - MARGIN * length, length);
}

/** Round moments for the ruler, at least some pixels apart: { step, digits, at: [seconds] }. */
export function ticks(v, apart = 72) {
  const least = apart / pxPerSecond(v);
  const step = niceStep(least);
  const digits = step >= 1 ? 0 : Math.ceil(-Math.log10(step) - 1e-9);
  const at = [];
  const last = Math.floor(v.to / step + 1e-9);
  for (let n = Math.ceil(v.from / step - 1e-9); n <= last; n += 1) at.push(n * step);
  return { step, digits, at };
}

/** The index of the first event that ends after a time; events are in order of their start. */
export function firstAfter(events, seconds, longest) {
  let low = 0;
  let high = events.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (events[middle].start_s < seconds - longest) low = middle + 1;
    else high = middle;
  }
  while (low < events.length && events[low].end_s < seconds) low += 1;
  return low;
}

function niceStep(least) {
  const found = TICK_STEPS.find((step) => step >= least);
  if (least > 1 || found === undefined) return found ?? 600;
  const power = 10 ** Math.floor(Math.log10(least));
  return [1, 2, 5, 10].map((n) => n * power).find((step) => step >= least * (1 - 1e-9));
}

function shifted(v, from, length) {
  const start = clamp(from, 0, Math.max(v.duration - length, 0));
  return view(start, start + length, v.width, v.duration);
}

function view(from, to, width, duration) {
  return Object.freeze({ from, to, width, duration });
}

function clamp(value, low, high) {
  return Math.min(Math.max(value, low), high);
}
