// The outline of the sound: least and greatest sample per short span, in levels from fine to
// coarse, as the server stores it. Pure, but for atob.

/** Levels of { perSecond, first, count, data: Int8Array of (min, max) }; null if unreadable. */
export function decode(stored) {
  if (!Array.isArray(stored?.levels)) return null;
  const levels = stored.levels.map(decodePiece);
  return levels.length ? levels.sort((a, b) => b.perSecond - a.perSecond) : null;
}

/** A level, or a piece of one that begins with its pair number `first`; null if there is none. */
export function decodePiece(stored) {
  if (!stored) return null;
  const { per_second: perSecond, first = 0, count, data } = stored;
  const bytes = Uint8Array.from(atob(data), (letter) => letter.charCodeAt(0));
  return { perSecond, first, count, data: new Int8Array(bytes.buffer) };
}

/** The coarsest level that still has a pair for each pixel; else the finest there is. */
export function levelFor(levels, pxPerSecond) {
  const enough = levels.filter(({ perSecond }) => perSecond >= pxPerSecond);
  return enough.at(-1) ?? levels[0];
}

/** Least and greatest value (-1..1) between two times; null where there is no sound. */
export function between(level, from, to) {
  const first = Math.max(Math.floor(from * level.perSecond) - level.first, 0);
  const end = Math.ceil(to * level.perSecond) - level.first;
  const last = Math.min(Math.max(end, first + 1), level.count);
  if (first >= last) return null;
  let least = 127;
  let greatest = -127;
  for (let n = first; n < last; n += 1) {
    least = Math.min(least, level.data[2 * n]);
    greatest = Math.max(greatest, level.data[2 * n + 1]);
  }
  return [least / 127, greatest / 127];
}

/** The greatest value anywhere, so that a soft recording fills its lane too. */
export function loudest(levels) {
  const { data } = levels.at(-1);
  let most = 1;
  for (const value of data) most = Math.max(most, Math.abs(value));
  return most / 127;
}
