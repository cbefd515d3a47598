// Moments on the clip's time axis, as people read and write them. Pure.
// Times are seconds from the first frame. A moment is rounded before it is split into minutes
// and seconds, so that 119.7 s reads 2:00 and never 1:60.

const MOMENT = /^(?:(\d{1,3}):)?(\d{1,5}(?:[.,]\d{1,3})?)$/;
const EDGE = 1e-6; // a time that sits on a frame's edge, but for its last bits

/** Minutes and seconds, with as many digits as asked for: 72.04 with 1 digit is 1:12.0. */
export function format(seconds, digits = 0) {
  const parts = 10 ** digits;
  const ticks = Math.floor(Math.max(seconds, 0) * parts + 0.5);
  const whole = Math.floor(ticks / parts);
  const minutes = Math.floor(whole / 60);
  const rest = String(whole % 60).padStart(2, "0");
  const part = digits ? "." + String(ticks % parts).padStart(digits, "0") : "";
  return `${minutes}:${rest}${part}`;
}

/** A span, or a moment where there is no end. */
export function formatSpan(start, end, digits = 1) {
  return end === null ? format(start, digits) : `${format(start, digits)}–${format(end, digits)}`;
}

/** Seconds from 1:02.4 or 62.4; null when it is not a moment. */
export function parse(text) {
  const found = MOMENT.exec(text.trim());
  if (!found) return null;
  const seconds = Number(found[2].replace(",", "."));
  if (found[1] !== undefined && seconds >= 60) return null;
  return 60 * Number(found[1] ?? 0) + seconds;
}

/** The number of the frame that shows at a time, from 0. */
export function frameAt(seconds, rate) {
  return Math.floor(Math.max(seconds, 0) * rate + EDGE);
}

/** The middle of the frame some frames on: seeking to a frame's edge may show its neighbour. */
export function stepped(seconds, frames, rate, duration) {
  const last = Math.max(Math.ceil(duration * rate - EDGE) - 1, 0);
  const frame = Math.min(Math.max(frameAt(seconds, rate) + frames, 0), last);
  return Math.min((frame + 0.5) / rate, duration);
}
