// How loud it is, judged from the loudest samples of the last seconds. Pure. Levels are 0 to 1 of
// full scale; the bounds are this project's choice.

export const CLIPPED = 0.985; // of full scale: the peaks are cut off there
const SOFT = 0.05; // -26 dB: the codec's and the room's noise come near the upper partials
const SILENT = 0.004; // -48 dB
const PATIENCE_MS = 5000; // so long may it be quiet between two strokes

/** "clipped", "good", "soft" or "silent". */
export function judged(loudest) {
  if (loudest >= CLIPPED) return "clipped";
  if (loudest >= SOFT) return "good";
  return loudest >= SILENT ? "soft" : "silent";
}

/** Levels noted as {ms, level}, of the last seconds alone. */
export function noted(levels, now) {
  return [...levels.filter(({ ms }) => now.ms - ms < PATIENCE_MS), now];
}

export function loudestOf(levels) {
  return levels.reduce((most, { level }) => Math.max(most, level), 0);
}

/** Whether it has been listened to for long enough to call it soft. */
export function isKnown(levels) {
  return levels.length > 1 && levels.at(-1).ms - levels[0].ms > PATIENCE_MS / 2;
}
