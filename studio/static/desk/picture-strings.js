// Draws the strings below the voices: on which one each note was to be played, and with which finger.
// Only a drill's fingering says so.

import { xOf } from "./geometry.js";

const ROOM_PX = 11; // a finger's number needs this much
const BAR = 8; // of a string's lane

/** state: { view, data, ink }; events are those in view; a lane lies between top and bottom. */
export function paintStrings(ctx, { view, data, ink }, events, [top, bottom]) {
  const each = (bottom - top) / data.strings.length;
  const middle = (string) => top + (string - 0.5) * each;
  ctx.font = `10px ${ink.face}`;
  ctx.textBaseline = "middle";
  ctx.fillStyle = ink.line;
  data.strings.forEach((_, n) => ctx.fillRect(0, middle(n + 1), view.width, 1));
  for (const event of events) {
    for (const voice of event.voices) if (voice.string) paintNote(ctx, view, ink, voice, middle(voice.string));
  }
  ctx.fillStyle = ink.quiet;
  data.strings.forEach((name, n) => ctx.fillText(name, 2, middle(n + 1)));
}

function paintNote(ctx, view, ink, { start_s: start, end_s: end, finger }, y) {
  const x = xOf(view, start);
  const width = Math.max(xOf(view, end) - x, 1.5);
  ctx.fillStyle = ink.edge;
  ctx.fillRect(x, y - BAR / 2, width, BAR);
  if (finger < 0 || width < ROOM_PX) return;
  ctx.fillStyle = ink.sheet;
  ctx.fillRect(x + 1, y - BAR / 2 + 1, ROOM_PX - 2, BAR - 2);
  ctx.fillStyle = ink.ink;
  ctx.fillText(String(finger), x + 3, y);
}
