// Frames on the clip's time axis. Pure. Times are seconds from the first frame.

const EDGE = 1e-6; // a time that sits on a frame's edge, but for its last bits

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
