// Where a WebM recording can be cut. Sources: RFC 8794 (EBML) for elements and their sizes, RFC 9559
// (Matroska) for their ids; a recorder writes segment and clusters of unknown size.

import { ByteWindow } from "./byte-window.js";

const SEGMENT = 0x18538067;
const INFO = 0x1549a966;
const TRACKS = 0x1654ae6b;
const TRACK = 0xae;
const CLUSTER = 0x1f43b675;
const ENTERED = new Set([SEGMENT, INFO, TRACKS, TRACK, CLUSTER]);
const SCALE = 0x2ad7b1;
const TRACK_NUMBER = 0xd7;
const TRACK_TYPE = 0x83;
const TIMESTAMP = 0xe7;
const SIMPLE_BLOCK = 0xa3;
const VIDEO = 1;
const KEY_FRAME = 0x80;
const HEAD_BYTES = 12; // an id of four bytes at most and a size of eight
const FEW_BYTES = 16; // the numbers that are read, and a block's head

/** [{atS, offset, begins}] of its clusters, in order; [] where this cannot be read. */
export async function clustersOf(blob) {
  const file = new ByteWindow(blob);
  const read = { clusters: [], scaleNs: 1_000_000, track: 0, video: 0, seen: false };
  for (let at = 0; at < file.size;) {
    const element = elementOf(await file.view(at, HEAD_BYTES));
    if (!element) break; // broken off
    const inside = at + element.head;
    if (!ENTERED.has(element.id) && element.size === Infinity) return [];
    if (ENTERED.has(element.id)) enter(read, element.id, at);
    else note(read, element.id, await file.view(inside, Math.min(element.size, FEW_BYTES)), element.size);
    at = ENTERED.has(element.id) ? inside : inside + element.size;
  }
  // Sound alone may begin anywhere; a picture only where a whole one stands.
  return read.clusters.map(({ ticks, offset, begins }) => ({
    atS: (ticks * read.scaleNs) / 1e9, offset, begins: begins || !read.video,
  }));
}

function enter(read, id, at) {
  if (id !== CLUSTER) return;
  read.clusters.push({ ticks: 0, offset: at, begins: false });
  read.seen = false;
}

function note(read, id, view, size) {
  if (id === SCALE) read.scaleNs = number(view, size);
  if (id === TRACK_NUMBER) read.track = number(view, size);
  if (id === TRACK_TYPE && number(view, size) === VIDEO) read.video = read.track;
  if (!read.clusters.length) return;
  if (id === TIMESTAMP) read.clusters.at(-1).ticks = number(view, size);
  if (id === SIMPLE_BLOCK && !read.seen) firstPicture(read, view);
}

/** The first picture of a cluster says whether one can begin there. */
function firstPicture(read, view) {
  const track = variable(view, 0, true);
  if (!track || track.value !== read.video || view.byteLength < track.length + 3) return;
  read.seen = true;
  read.clusters.at(-1).begins = Boolean(view.getUint8(track.length + 2) & KEY_FRAME);
}

function elementOf(view) {
  const id = variable(view, 0, false);
  const size = id && variable(view, id.length, true);
  return size && { id: id.value, size: size.value, head: id.length + size.length };
}

/** A number of variable length; `bare` without the bit that says its length. Null where cut off. */
function variable(view, at, bare) {
  if (at >= view.byteLength) return null;
  const first = view.getUint8(at);
  const length = Math.clz32(first) - 23;
  if (length > 8 || at + length > view.byteLength) return null;
  let value = bare ? first & (0xff >> length) : first;
  let unknown = bare && value === 0xff >> length;
  for (let next = 1; next < length; next += 1) {
    const byte = view.getUint8(at + next);
    value = value * 256 + byte;
    unknown &&= byte === 0xff;
  }
  return { value: unknown ? Infinity : value, length };
}

function number(view, size) {
  let value = 0;
  for (let at = 0; at < Math.min(size, view.byteLength); at += 1) value = value * 256 + view.getUint8(at);
  return value;
}
