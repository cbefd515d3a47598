// Draws what moves over the sound picture: the play head, the selected span, the event that is
// pointed at, and the window on the whole clip at its foot.

import { xOf } from "./geometry.js";
import { lanes } from "./picture-paint.js";

const HEAD_PX = 1.5;
const NAME_PX = 12; // the letters of a name
const ROOM_PX = 4; // about them

/** state: { view, height, seconds, span, begun, pointed, ink } */
export function paintOver(ctx, { view, height, seconds, span, begun, pointed, ink }) {
  const { ruler, voices, wave, foot } = lanes(height);
  ctx.clearRect(0, 0, view.width, height);
  if (pointed) wash(ctx, view, pointed.start_s, pointed.end_s, ruler[1], wave[1], ink.ink, 0.08);
  if (span) {
    wash(ctx, view, span[0], span[1], ruler[1], wave[1], ink.ink, 0.14);
    for (const edge of span) line(ctx, xOf(view, edge), ruler[0], wave[1], ink.ink, 1);
  }
  if (begun !== null) line(ctx, xOf(view, begun), ruler[0], wave[1], ink.ink, 1);
  if (pointed?.name) paintName(ctx, view, pointed, voices[0], ink);
  paintWindow(ctx, view, foot, ink);
  const x = xOf(view, seconds);
  if (x >= -HEAD_PX && x <= view.width + HEAD_PX) paintHead(ctx, x, ruler[0], wave[1], ink);
  line(ctx, (seconds / view.duration) * view.width, foot[0], foot[1], ink.ink, HEAD_PX);
}

/** What is pointed at, by its notes: "octave D5–D6". */
function paintName(ctx, view, { name, start_s: start }, top, ink) {
  ctx.font = `${NAME_PX}px ${ink.face}`;
  ctx.textBaseline = "top";
  const width = ctx.measureText(name).width + 2 * ROOM_PX;
  const x = Math.max(Math.min(xOf(view, start), view.width - width), 0);
  ctx.fillStyle = ink.sheet;
  ctx.fillRect(x, top, width, NAME_PX + 2 * ROOM_PX);
  ctx.fillStyle = ink.ink;
  ctx.fillText(name, x + ROOM_PX, top + ROOM_PX);
}

function paintHead(ctx, x, top, bottom, ink) {
  line(ctx, x, top, bottom, ink.ink, HEAD_PX);
  ctx.fillStyle = ink.ink;
  ctx.beginPath();
  ctx.moveTo(x - 5, top);
  ctx.lineTo(x + 5, top);
  ctx.lineTo(x, top + 7);
  ctx.fill();
}

/** What lies outside the window is veiled; nothing is, while the whole clip is in view. */
function paintWindow(ctx, view, [top, bottom], ink) {
  const x1 = (view.from / view.duration) * view.width;
  const x2 = (view.to / view.duration) * view.width;
  if (x2 - x1 > view.width - 1) return;
  ctx.globalAlpha = 0.72;
  ctx.fillStyle = ink.sheet;
  ctx.fillRect(0, top + 1, x1, bottom - top);
  ctx.fillRect(x2, top + 1, view.width - x2, bottom - top);
  ctx.globalAlpha = 1;
  ctx.strokeStyle = ink.ink;
  ctx.lineWidth = 1;
  ctx.strokeRect(x1 + 0.5, top + 1.5, Math.max(x2 - x1 - 1, 3), bottom - top - 3);
}

function wash(ctx, view, start, end, top, bottom, colour, alpha) {
  const x1 = xOf(view, start);
  ctx.globalAlpha = alpha;
  ctx.fillStyle = colour;
  ctx.fillRect(x1, top, Math.max(xOf(view, end) - x1, 2), bottom - top);
  ctx.globalAlpha = 1;
}

function line(ctx, x, top, bottom, colour, width) {
  ctx.fillStyle = colour;
  ctx.fillRect(x - width / 2, top, width, bottom - top);
}
