// The arithmetic of the tones: partials, mistuning, beats, and when what sounds. Pure: no document,
// no sound. Frequencies in Hz, cents positive upwards (wide), times in seconds. How large an
// interval is in which tuning is said by the server alone; notation/tones.py renders the same tones.

export const FADE_HZ = [4000, 8000]; // partials fade out between these
export const ATTACK_S = 0.08;
export const RELEASE_S = 0.15;
export const VOICE_LEVEL = 0.2 / 1.8519370519824663; // a voice peaks at 0.2 at most
const VOICE_PEAK = 0.2; // what VOICE_LEVEL is made for
const PEAK = 0.9; // of all voices together; 1 is full scale
const UNKNOWN_DB = -24; // moderate
export const REST_S = 0.15; // between notes that are heard one after the other

/** Amplitudes of the partials 1, 2, 3 ...: 1/k, faded out between 4 and 8 kHz. */
export function partials(hz) {
  const [start, end] = FADE_HZ;
  const count = Math.max(1, Math.ceil(end / hz) - 1);
  return Array.from({ length: count }, (_, place) => {
    const k = place + 1;
    const fade = Math.min(1, Math.max(0, (k * hz - start) / (end - start)));
    return Math.cos(0.5 * Math.PI * fade) ** 2 / k;
  });
}

/** A raised-cosine rise from 0 to `level`; backwards it is a fall. */
export function rise(level, points = 64) {
  return Float32Array.from(
    { length: points },
    (_, at) => level * Math.sin((0.5 * Math.PI * at) / (points - 1)) ** 2,
  );
}

/** The same notes at another A4. */
export function atA4(hz, from, to) {
  return hz.map((f) => (f * to) / from);
}

/** Two notes with their interval wider (or, below 0, narrower) by moving note 0 or note 1. */
export function mistuned([low, high], cents, moves) {
  return moves === 0 ? [low * 2 ** (-cents / 1200), high] : [low, high * 2 ** (cents / 1200)];
}

/** Beats a second of the first partials that coincide when high : low is p : q. */
export function beatHz([p, q], [low, high]) {
  return Math.abs(p * low - q * high);
}

/** What sounds when, for "both", "low", "high" or "apart" (one after the other, then together). */
export function plan(way, count, seconds) {
  const all = Array.from({ length: count }, (_, voice) => voice);
  if (way === "low") return [{ voices: [0], at: 0, seconds }];
  if (way === "high") return [{ voices: [count - 1], at: 0, seconds }];
  if (way !== "apart" || count < 2) return [{ voices: all, at: 0, seconds }];
  const each = Number.isFinite(seconds) ? seconds : 3; // only the last is held without end
  const singles = all.map((voice) => ({ voices: [voice], at: voice * (each + REST_S), seconds: each }));
  return [...singles, { voices: all, at: count * (each + REST_S), seconds }];
}

/** The notes of a plan, each with its own frequency: [{ voice, hz, at, seconds }]. */
export function notes(parts, hz) {
  return parts.flatMap(({ voices, at, seconds }) =>
    voices.map((voice) => ({ voice, hz: hz[voice], at, seconds })),
  );
}

/** A loudness of 0 to 100 as a gain: 40 dB from the softest to the loudest. */
export function gainOf(loudness) {
  return loudness <= 0 ? 0 : 10 ** ((2 * (Math.min(loudness, 100) - 100)) / 100);
}

/** RMS of a voice as it is made here, before any gain; by Parseval. */
export function rms(hz) {
  return VOICE_LEVEL * Math.sqrt(partials(hz).reduce((sum, a) => sum + (a * a) / 2, 0));
}

/**
 * Gains that make voices as loud as a recording has them: `levels` are RMS in dB re full scale,
 * null where it is not known. Together they stay below full scale, in the same balance.
 */
export function gainsAt(hz, levels) {
  const wanted = hz.map((f, voice) => 10 ** ((levels[voice] ?? UNKNOWN_DB) / 20) / rms(f));
  const most = PEAK / wanted.reduce((sum, gain) => sum + gain * VOICE_PEAK, 0);
  return wanted.map((gain) => gain * Math.min(1, most));
}

/** The place `by` steps on, within what there is. */
export function stepped(place, by, count) {
  return Math.min(count - 1, Math.max(0, place + by));
}

/** The step that a note of the page belongs to, or null. */
export function placeOf(steps, ref) {
  const place = steps.findIndex((step) => step.ref === ref || ref in step.parts);
  return place < 0 ? null : place;
}
