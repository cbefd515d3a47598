// Where a voice is drawn: its note by height, its lift magnified about that height. Pure.

export const LIMIT_CENTS = 60; // a line further off stays at the edge
const MOST_PX_PER_CENT = 0.42;
const SEMITONES_OF_ROOM = 3; // above the highest and below the lowest note

/** The notes of the events as a scale from MIDI number to y; top and bottom in pixels. */
export function pitchScale(events, top, bottom) {
  const midis = events.flatMap((event) => event.voices.map((voice) => voice.midi));
  const low = Math.min(...(midis.length ? midis : [60])) - SEMITONES_OF_ROOM;
  const high = Math.max(...midis, low + 12) + SEMITONES_OF_ROOM;
  return Object.freeze({ low, high, top, bottom });
}

export function yOfMidi(scale, midi) {
  const share = (midi - scale.low) / (scale.high - scale.low);
  return scale.bottom - share * (scale.bottom - scale.top);
}

/** Pixels for a cent: magnified, because true to scale a mistuning would not be seen. */
export function pxPerCent(scale) {
  return Math.min(MOST_PX_PER_CENT, (scale.bottom - scale.top) / 420);
}

/** The y of a lift; sharp and wide go up. */
export function yOfLift(scale, midi, cents) {
  const held = Math.min(Math.max(cents, -LIMIT_CENTS), LIMIT_CENTS);
  return yOfMidi(scale, midi) - held * pxPerCent(scale);
}

/** The two hairlines between which the pair is in tune. */
export function band(scale, midi, tolerance) {
  return [yOfLift(scale, midi, tolerance), yOfLift(scale, midi, -tolerance)];
}

/** The points of a voice's line: [[seconds, cents] or null where it could not be followed]. */
export function line(voice, from, to, leastStep) {
  const { track, lift_cents: lift } = voice;
  if (!track) return [[voice.start_s, lift], [voice.end_s, lift]];
  const stride = Math.max(1, Math.floor(leastStep / track.step_s));
  const first = Math.floor((from - track.start_s) / track.step_s / stride) * stride;
  const last = Math.ceil((to - track.start_s) / track.step_s) + stride;
  const points = [];
  for (let n = Math.max(first, 0); n < Math.min(last, track.cents.length); n += stride) {
    const cents = track.cents[n];
    points.push(cents === null ? null : [track.start_s + n * track.step_s, lift + cents]);
  }
  return points;
}
