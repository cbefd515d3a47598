// What a drawing consists of, as points and as shapes. Pure. Lengths are in widths of the picture
// from its upper left corner; studio/review/enclosures/drawings.py says what a stroke is, and makes
// the same shapes for the pages.

import { percent } from "../figures.js";
import { gettext } from "../translation.js";

export const UNITS = 1000;
export const MOST_STROKES = 60;
const HEAD = 0.045;
const HEAD_ANGLE = (28 * Math.PI) / 180;
const MOST_POINTS = 400;
const NEAR = 0.004; // points of a line that lie nearer to it than this say nothing
const SMALL = 0.012; // what is smaller than this was a press, not a stroke
const DRAWN = { arrow: gettext("Arrow drawn."), circle: gettext("Circle drawn."), line: gettext("Line drawn.") };
const STEPS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };

/** A stroke of a kind over the points that a pointer went, or null for a mere press. */
export function strokeOf(kind, points) {
  const [start, end] = [points[0], points.at(-1)];
  if (kind === "line") {
    const kept = thinned(points).slice(0, MOST_POINTS);
    return reach(points) < SMALL ? null : { kind, points: kept.map(rounded) };
  }
  const far = distance(start, end);
  if (far < SMALL) return null;
  if (kind === "arrow") return { kind, from: rounded(start), to: rounded(end) };
  return { kind: "circle", at: rounded(start), radius: round(far) };
}

export function labelAt(point, text) {
  const words = text.trim().replace(/\s+/g, " ").slice(0, 60);
  return words ? { kind: "label", at: rounded(point), text: words } : null;
}

/** Inside the picture; `aspect` is its height over its width. */
export function inside([x, y], aspect) {
  return [Math.min(Math.max(x, 0), 1), Math.min(Math.max(y, 0), aspect)];
}

/** Where an arrow key takes the cross: a fiftieth of the width, with Shift a tenth of that. */
export function moved(point, key, fine, aspect) {
  const [dx, dy] = STEPS[key];
  const step = fine ? 0.002 : 0.02;
  return inside([point[0] + dx * step, point[1] + dy * step], aspect);
}

/** Where a point lies, in words: "40 % across, 25 % down". */
export function placeOf([x, y], aspect) {
  return gettext("%(across)s %% across, %(down)s %% down", { across: percent(x, 1), down: percent(y, aspect) });
}

/** What is said of a stroke that was drawn; of none (null), or one too many, why not. */
export function saidOf(stroke, kind, most) {
  if (most) return gettext("%(most)s strokes are the most. Undo some first.", { most: MOST_STROKES });
  if (kind === "label") return stroke ? gettext("Words written.") : gettext("Write the words first.");
  if (!stroke) return gettext("Too small to be seen: draw farther.");
  return DRAWN[kind];
}

/** Each stroke as the `d` of a path, or as a text with its place, in thousandths. */
export function shapes(strokes) {
  return strokes.map((stroke) => SHAPES[stroke.kind](stroke));
}

const SHAPES = {
  line: ({ points }) => ({ d: `M${points.map(at).join(" L")}` }),
  arrow: ({ from, to }) => {
    const back = Math.atan2(from[1] - to[1], from[0] - to[0]);
    const [left, right] = [-HEAD_ANGLE, HEAD_ANGLE].map((turn) => [
      to[0] + HEAD * Math.cos(back + turn), to[1] + HEAD * Math.sin(back + turn),
    ]);
    return { d: `M${at(from)} L${at(to)} M${at(left)} L${at(to)} L${at(right)}` };
  },
  circle: ({ at: [x, y], radius }) => {
    const r = unit(radius);
    const arc = `a${r} ${r} 0 1 0`;
    return { d: `M${at([x - radius, y])} ${arc} ${2 * r} 0 ${arc} ${-2 * r} 0` };
  },
  label: ({ at: [x, y], text }) => ({ text, x: unit(x), y: unit(y) }),
};

// -- internals --------------------------------------------------------------------------------

function unit(length) {
  return Math.floor(length * UNITS + 0.5);
}

function at([x, y]) {
  return `${unit(x)} ${unit(y)}`;
}

function round(length) {
  return Math.round(length * 10_000) / 10_000;
}

function rounded([x, y]) {
  return [round(x), round(y)];
}

function distance([ax, ay], [bx, by]) {
  return Math.hypot(bx - ax, by - ay);
}

/** How far the farthest point lies from the first. */
function reach(points) {
  return Math.max(...points.map((point) => distance(points[0], point)));
}

/** Ramer, Douglas and Peucker: the points without which the line would lie elsewhere. */
export function thinned(points, near = NEAR) {
  if (points.length < 3) return points;
  const [first, last] = [points[0], points.at(-1)];
  let farthest = 0;
  let split = 0;
  for (let i = 1; i < points.length - 1; i++) {
    const off = offLine(points[i], first, last);
    if (off > farthest) [farthest, split] = [off, i];
  }
  if (farthest <= near) return [first, last];
  return [...thinned(points.slice(0, split + 1), near).slice(0, -1), ...thinned(points.slice(split), near)];
}

function offLine(point, first, last) {
  const length = distance(first, last);
  if (!length) return distance(point, first);
  const [dx, dy] = [last[0] - first[0], last[1] - first[1]];
  const along = ((point[0] - first[0]) * dx + (point[1] - first[1]) * dy) / length ** 2;
  const on = Math.min(Math.max(along, 0), 1);
  return distance(point, [first[0] + on * dx, first[1] + on * dy]);
}
