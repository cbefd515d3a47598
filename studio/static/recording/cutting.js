// Cutting the ends off a recording without touching what lies between: whole pieces of the file are
// left out, and every byte of the others stays. So no sound is coded anew, and what was cut off
// never leaves the device.

import { earlier, fragmentsOf } from "./fragments.js";
import { clustersOf } from "./webm.js";

/**
 * Where it can be cut: {head, points: [{atS, offset, begins}], end}, times from its beginning; no
 * points where it cannot.
 */
export async function placesOf(file) {
  const { fragments, end } = file.type.endsWith("mp4")
    ? await fragmentsOf(file).catch(() => ({ fragments: [], end: 0 }))
    : { fragments: await clustersOf(file), end: file.size };
  const points = fragments.map((one) => ({ ...one, atS: one.atS - fragments[0].atS }));
  return { head: points[0]?.offset ?? 0, points, end };
}

/**
 * What stays when all but `fromS` to `toS` is to go: {fromS, toS, from, to} in seconds of the
 * recording and bytes of the file. Never less than was asked for; null where there is nothing to cut.
 */
export function kept({ points, end }, fromS, toS, lastS) {
  if (points.length < 2 || !(toS > fromS)) return null;
  const first = points.findLast(({ atS, begins }) => begins && atS <= fromS) ?? points[0];
  const after = points.find(({ atS, offset }) => atS >= toS && offset > first.offset);
  if (first === points[0] && !after) return null;
  return { fromS: first.atS, toS: after?.atS ?? lastS, from: first.offset, to: after?.offset ?? end };
}

/** The file with what `kept` says. The times of an MP4 have to begin at 0; a WebM's need not. */
export async function cut(file, { head, points }, { fromS, from, to }) {
  const parts = [file.slice(0, head)];
  const fragments = points.filter(({ offset, size }) => size && offset >= from && offset < to);
  for (const [at, one] of fragments.entries()) {
    const next = fragments[at + 1]?.offset ?? to;
    parts.push(await earlier(file, one, fromS), file.slice(one.offset + one.size, next));
  }
  if (!fragments.length) parts.push(file.slice(from, to));
  return new File(parts, file.name, { type: file.type, lastModified: file.lastModified });
}
