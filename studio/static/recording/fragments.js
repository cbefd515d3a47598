// Where a fragmented MP4 recording can be cut. Source: ISO/IEC 14496-12, boxes moov, moof and those
// within. A recorder writes a head and then fragments, each a moof with its mdat.

import { ByteWindow } from "./byte-window.js";

const LARGE = 1; // a size that stands behind the type, in eight bytes
const ABSOLUTE = 0x1; // tfhd: places counted from the file's beginning; cutting would move them
const NOT_SYNC = 0x10000; // of a sample's flags
const HEAD_MOST = 4 * 1024 * 1024; // a moov or moof of more is none of a recorder's

/**
 * {fragments: [{atS, offset, begins, size, times}], end}: its fragments in order, and where the last
 * one ends; none where it cannot be read. `size`: of the moof; `times`: where in it times stand.
 */
export async function fragmentsOf(blob) {
  const file = new ByteWindow(blob);
  const read = { tracks: new Map(), fragments: [], end: 0 };
  for (let at = 0; at + 8 <= file.size;) {
    const box = boxOf(await file.view(at, 16));
    if (!box.size || at + box.size > file.size) break; // broken off
    if (["moov", "moof"].includes(box.type) && box.size < HEAD_MOST) {
      const view = await file.view(at, box.size);
      if (box.type === "moov") readTracks(view, read.tracks);
      else if (!readFragment(view, at, read)) return { fragments: [], end: 0 };
    }
    at += box.size;
    if (box.type === "mdat") read.end = at;
  }
  return read;
}

function readTracks(moov, tracks) {
  for (const trak of all(moov, "trak")) {
    const [tkhd, mdia] = [one(trak, "tkhd"), one(trak, "mdia")];
    const [mdhd, hdlr] = [one(mdia, "mdhd"), one(mdia, "hdlr")];
    const id = tkhd.getUint32(tkhd.getUint8(8) ? 28 : 20);
    const ticks = mdhd.getUint32(mdhd.getUint8(8) ? 28 : 20);
    tracks.set(id, { ticks, video: typeOf(hdlr, 16) === "vide", flags: 0 });
  }
  for (const trex of all(one(moov, "mvex"), "trex")) {
    const track = tracks.get(trex.getUint32(12));
    if (track) track.flags = trex.getUint32(28);
  }
}

/** Note one fragment; false where it says its places in a way that cutting would spoil. */
function readFragment(moof, offset, { tracks, fragments }) {
  const parts = all(moof, "traf").map((traf) => partOf(traf, tracks, moof.byteOffset));
  if (parts.some((part) => part === null)) return false;
  const pictures = parts.filter(({ video }) => video);
  const hasVideo = [...tracks.values()].some(({ video }) => video);
  const [first] = pictures.length ? pictures : parts;
  const begins = hasVideo ? pictures.some(({ sync }) => sync) : true;
  const times = parts.map(({ time }) => time);
  if (first) fragments.push({ atS: first.atS, offset, begins, size: moof.byteLength, times });
  return true;
}

/** The moof of a fragment with its times earlier by `byS` seconds, so that a file may begin with it. */
export async function earlier(blob, { offset, size, times }, byS) {
  const moof = new DataView(await blob.slice(offset, offset + size).arrayBuffer());
  for (const { at, wide, ticks } of times) {
    const by = Math.round(byS * ticks);
    if (wide) moof.setBigUint64(at, BigInt(Math.max(0, Number(moof.getBigUint64(at)) - by)));
    else moof.setUint32(at, Math.max(0, moof.getUint32(at) - by));
  }
  return moof;
}

function partOf(traf, tracks, start) {
  const [tfhd, tfdt, trun] = ["tfhd", "tfdt", "trun"].map((type) => one(traf, type));
  const flags = tfhd.getUint32(8) & 0xffffff;
  const track = tracks.get(tfhd.getUint32(12));
  if (!track || !tfdt || flags & ABSOLUTE) return null;
  const wide = tfdt.getUint8(8) > 0;
  const atS = (wide ? Number(tfdt.getBigUint64(12)) : tfdt.getUint32(12)) / track.ticks;
  const sample = firstFlags(trun, defaultFlags(tfhd, flags) ?? track.flags);
  const time = { at: tfdt.byteOffset - start + 12, wide, ticks: track.ticks };
  return { video: track.video, atS, sync: !(sample & NOT_SYNC), time };
}

function defaultFlags(tfhd, flags) {
  if (!(flags & 0x20)) return null;
  const before = [0x2, 0x8, 0x10].filter((bit) => flags & bit).length;
  return tfhd.getUint32(16 + 4 * before);
}

function firstFlags(trun, otherwise) {
  if (!trun) return NOT_SYNC;
  const flags = trun.getUint32(8) & 0xffffff;
  const samples = 16 + (flags & 0x1 ? 4 : 0);
  if (flags & 0x4) return trun.getUint32(samples);
  if (!(flags & 0x400)) return otherwise;
  const before = [0x100, 0x200].filter((bit) => flags & bit).length;
  return trun.getUint32(samples + 4 * before);
}

/** The boxes of a type right within another; a DataView of each, its head included. */
function all(parent, wanted) {
  const found = [];
  for (let at = 8; parent && at + 8 <= parent.byteLength;) {
    const { size, type } = boxOf(new DataView(parent.buffer, parent.byteOffset + at, parent.byteLength - at));
    if (size < 8 || at + size > parent.byteLength) break;
    if (type === wanted) found.push(new DataView(parent.buffer, parent.byteOffset + at, size));
    at += size;
  }
  return found;
}

function one(parent, wanted) {
  return all(parent, wanted)[0];
}

function boxOf(view) {
  const size = view.getUint32(0);
  const large = size === LARGE && view.byteLength >= 16;
  return { size: large ? Number(view.getBigUint64(8)) : size, type: typeOf(view, 4) };
}

function typeOf(view, at) {
  return String.fromCharCode(...[0, 1, 2, 3].map((next) => view.getUint8(at + next)));
}
