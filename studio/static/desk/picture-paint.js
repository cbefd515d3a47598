// Draws the still part of the sound picture: ruler, marks and comments, the two voices with
// their lift, the waveform, and the whole clip small at the foot. Only what is in view is drawn.

import { firstAfter, pxPerSecond, ticks, xOf } from "./geometry.js";
import { band, line, pitchScale, yOfLift, yOfMidi } from "./lift.js";
import { between, levelFor, loudest } from "./peaks.js";
import { paintStrings } from "./picture-strings.js";
import { place } from "../figures.js";

const RULER = 20;
const MOMENTS = 20;
const FOOT = 26; // the whole clip
const GAP = 8;
const STRING = 10; // a string's lane
const LEAST_VOICES = 70; // the voices need this much before there is room for strings
const NARROW_PX = 3; // an event this narrow is drawn without its hairlines

/** Where each part lies, from the size of the canvas in CSS pixels and how many strings it shows. */
export function lanes(height, strings = 0) {
  const wave = Math.max(Math.min((height - RULER - MOMENTS - FOOT) * 0.27, 72), 26);
  const foot = height - FOOT;
  const voices = foot - wave - 2 * GAP;
  const needed = strings * STRING + GAP;
  const fits = strings && voices - needed - RULER - MOMENTS >= LEAST_VOICES;
  return {
    ruler: [0, RULER],
    moments: [RULER, RULER + MOMENTS],
    voices: [RULER + MOMENTS, fits ? voices - needed : voices],
    strings: fits ? [voices - needed + GAP, voices] : null,
    wave: [foot - wave - GAP, foot - GAP],
    foot: [foot, height],
  };
}

export function scaleFor(events, height, strings = 0) {
  const [top, bottom] = lanes(height, strings).voices;
  return pitchScale(events, top, bottom);
}

/** state: { view, height, data, scale, moments, ink }; data is a PictureData */
export function paint(ctx, state) {
  const { view, height } = state;
  const lane = lanes(height, state.data.strings?.length);
  ctx.clearRect(0, 0, view.width, height);
  paintRuler(ctx, state, lane);
  paintWave(ctx, state, lane.wave, view.from, view.to);
  const seen = visible(state);
  for (const event of seen) paintEvent(ctx, state, event);
  if (lane.strings) paintStrings(ctx, state, seen, lane.strings);
  paintMoments(ctx, state, lane);
  paintFoot(ctx, state, lane.foot);
}

/** The events that are in view. */
export function visible({ data: { events, longest }, view }) {
  const found = [];
  for (let n = firstAfter(events, view.from, longest); n < events.length; n += 1) {
    if (events[n].start_s > view.to) break;
    found.push(events[n]);
  }
  return found;
}

function paintRuler(ctx, { view, ink }, { ruler, foot }) {
  const { at, digits } = ticks(view);
  ctx.font = `11px ${ink.face}`;
  ctx.textBaseline = "middle";
  for (const seconds of at) {
    const x = Math.round(xOf(view, seconds)) + 0.5;
    stroke(ctx, ink.line, 1, [[x, ruler[1] - 4], [x, foot[0] - GAP]]);
    ctx.fillStyle = ink.quiet;
    const text = place(seconds, digits);
    ctx.fillText(text, Math.min(x + 4, view.width - ctx.measureText(text).width), ruler[1] / 2);
  }
}

function paintWave(ctx, { view, data, ink }, [top, bottom], from, to) {
  const { levels, pieces, partS } = data;
  if (!levels) return;
  const perPx = (to - from) / view.width;
  const level = levelFor(levels, 1 / perPx);
  const near = perPx * level.perSecond < 1; // finer than the whole clip's outline
  const middle = (top + bottom) / 2;
  const half = (bottom - top) / 2 / loudest(levels);
  ctx.fillStyle = ink.edge;
  for (let x = 0; x < view.width; x += 1) {
    const at = from + x * perPx;
    const piece = near ? pieces.get(Math.floor(at / partS)) : undefined;
    const found = between(piece ?? level, at, at + perPx);
    if (!found) continue;
    const y = middle - found[1] * half;
    ctx.fillRect(x, y, 1, Math.max((found[1] - found[0]) * half, 1));
  }
}

function paintEvent(ctx, { view, scale, ink }, event) {
  const x1 = xOf(view, event.start_s);
  const x2 = Math.max(xOf(view, event.end_s), x1 + 1.5);
  const alone = event.kind === "single";
  const out = event.verdict === "out";
  event.voices.forEach((voice, n) => {
    if (x2 - x1 > NARROW_PX) paintTarget(ctx, ink, scale, event, voice, x1, x2);
    const width = (alone ? 1 : n ? 1.5 : 2.25) + (out ? 1 : 0);
    const dash = event.verdict === "unsure" ? [3, 3] : [];
    const points = line(voice, view.from, view.to, 1 / pxPerSecond(view));
    paintLine(ctx, { view, scale }, voice, points, alone ? ink.edge : ink.ink, width, dash);
  });
}

function paintTarget(ctx, ink, scale, event, voice, x1, x2) {
  if (event.tolerance_cents && event.voices.length > 1) {
    for (const y of band(scale, voice.midi, event.tolerance_cents)) {
      stroke(ctx, ink.edge, 0.5, [[x1, y], [x2, y]]);
    }
  } else {
    const y = yOfMidi(scale, voice.midi);
    stroke(ctx, ink.line, 1, [[x1, y], [x2, y]]);
  }
}

function paintLine(ctx, { view, scale }, voice, points, colour, width, dash) {
  ctx.setLineDash(dash);
  ctx.lineJoin = "round";
  ctx.lineCap = dash.length ? "butt" : "round";
  let run = [];
  for (const point of [...points, null]) {
    if (point) {
      run.push([xOf(view, point[0]), yOfLift(scale, voice.midi, point[1])]);
    } else {
      if (run.length === 1) run.push([run[0][0] + 1, run[0][1]]);
      if (run.length) stroke(ctx, colour, width, run);
      run = [];
    }
  }
  ctx.setLineDash([]);
}

function paintMoments(ctx, { view, moments, ink }, { moments: [top, bottom], wave }) {
  for (const { kind, start, end, choice } of moments) {
    const x1 = xOf(view, start);
    const x2 = Math.max(xOf(view, end ?? start), x1);
    if (x2 < 0 || x1 > view.width) continue;
    if (kind === "mark") {
      const colour = choice === "dropped" ? ink.edge : ink.ink;
      const width = choice === "kept" ? 3 : choice === "dropped" ? 1 : 1.75;
      const dash = choice === "dropped" ? [2, 3] : [];
      ctx.setLineDash(dash);
      const y = bottom - 7;
      stroke(ctx, colour, width, [[x1, y + 6], [x1, y], [Math.max(x2, x1 + 5), y], [Math.max(x2, x1 + 5), y + 6]]);
      ctx.setLineDash([]);
    } else {
      paintComment(ctx, ink, x1, x2, end !== null, top, wave[1]);
    }
  }
}

function paintComment(ctx, ink, x1, x2, span, top, bottom) {
  ctx.fillStyle = ink.ink;
  ctx.beginPath();
  ctx.moveTo(x1 - 4, top + 1);
  ctx.lineTo(x1 + 5, top + 1);
  ctx.lineTo(x1 + 5, top + 7);
  ctx.lineTo(x1, top + 7);
  ctx.lineTo(x1 - 4, top + 11);
  ctx.fill();
  if (span) stroke(ctx, ink.ink, 1, [[x1, top + 4], [x2, top + 4]]);
  stroke(ctx, ink.edge, 1, [[x1, top + 12], [x1, bottom]], [1, 3]);
}

function paintFoot(ctx, state, [top, bottom]) {
  const { view, ink, data, moments } = state;
  stroke(ctx, ink.line, 1, [[0, top + 0.5], [view.width, top + 0.5]]);
  const perSecond = view.width / view.duration;
  paintWave(ctx, state, [top + 5, bottom - 3], 0, view.duration);
  ctx.fillStyle = ink.edge;
  if (!data.levels) {
    for (const { start_s: from, end_s: to } of data.events) {
      ctx.fillRect(from * perSecond, top + 12, Math.max((to - from) * perSecond, 1), 2);
    }
  }
  ctx.fillStyle = ink.ink;
  for (const { kind, start, choice } of moments) {
    if (choice !== "dropped") ctx.fillRect(start * perSecond - 1, top + 2, 2, kind === "mark" ? 6 : 3);
  }
}

function stroke(ctx, colour, width, points, dash = null) {
  if (dash) ctx.setLineDash(dash);
  ctx.strokeStyle = colour;
  ctx.lineWidth = width;
  ctx.beginPath();
  points.forEach(([x, y], n) => (n ? ctx.lineTo(x, y) : ctx.moveTo(x, y)));
  ctx.stroke();
  if (dash) ctx.setLineDash([]);
}
