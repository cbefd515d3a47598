// Chosen recordings that wait on this device for a line, each with what was typed. Their contents
// are copied, piece by piece: a browser that is closed forgets which file was chosen, and the file
// itself may move.

import { KeptRows } from "../recording/kept-rows.js";
import { FILE_NOTE, note } from "../recording/take-notes.js";
import { isBeingSent } from "./sending-lock.js";

const FILES = "files";
const PIECES = "pieces";
const PIECE_BYTES = 8 * 1024 * 1024; // held in memory at a time
const database = new KeptRows("studio-files", [FILES, PIECES]);

/**
 * Keep `file` under the key of its upload. `row`: {key, whose, person, at (the sending page's
 * address), print, words}. False where the browser refuses, be it for want of room.
 */
export async function keepFile(file, row) {
  await sweep();
  if (!(await hasRoom(file.size)) || !(await keepPieces(file, row.key))) {
    await forgetFile(row);
    return false;
  }
  const { name, type, lastModified, size: bytes } = file;
  const kept = { ...row, name, type, lastModified, bytes, made: Date.now() };
  if ((await database.inside("readwrite", [FILES], (files) => files.put(kept, row.key))) === undefined) return false;
  note(FILE_NOTE, row.person, row.key, row.at);
  navigator.storage?.persist?.().catch(() => {}); // else the browser may empty it when room is short
  return true;
}

/** Change what is known of a kept file: its words, or why it was refused. */
export function changeFile(key, change) {
  return database.inside("readwrite", [FILES], (files) => {
    const found = files.get(key);
    found.onsuccess = () => found.result && files.put({ ...found.result, ...change }, key);
    return found;
  });
}

export function forgetFile({ key, person }) {
  note(FILE_NOTE, person, key, null);
  return database.inside("readwrite", [FILES, PIECES], (files, pieces) => {
    files.delete(key);
    return pieces.delete(all(key));
  });
}

/** The rows kept for one person (and child), oldest first. */
export async function filesOf(whose) {
  const rows = (await database.inside("readonly", [FILES], (files) => files.getAll())) ?? [];
  return rows.filter((row) => row.whose === whose).sort((a, b) => a.made - b.made);
}

/** The file of a row, as it was chosen; null where the browser has lost it. */
export async function fileOfRow({ key, name, type, lastModified, bytes }) {
  const pieces = await database.inside("readonly", [PIECES], (rows) => rows.getAll(all(key)));
  const file = new File(pieces ?? [], name, { type, lastModified });
  return file.size === bytes ? file : null;
}

async function keepPieces(file, key) {
  for (let at = 0; at < file.size; at += PIECE_BYTES) {
    const content = await file.slice(at, at + PIECE_BYTES).arrayBuffer().catch(() => null);
    const put = (pieces) => pieces.put(new Blob([content]), [key, at]);
    if (!content || (await database.inside("readwrite", [PIECES], put)) === undefined) return false;
  }
  return true;
}

/** Remove what a page left behind that was closed while it kept a file. */
async function sweep() {
  const [whole, pieces] = await Promise.all([FILES, PIECES].map((name) =>
    database.inside("readonly", [name], (rows) => rows.getAllKeys())));
  const keys = new Set((pieces ?? []).map(([key]) => key));
  for (const key of keys) {
    if (whole?.includes(key) || (await isBeingSent(key))) continue;
    await database.inside("readwrite", [PIECES], (rows) => rows.delete(all(key)));
  }
}

async function hasRoom(bytes) {
  const { quota = Infinity, usage = 0 } = (await navigator.storage?.estimate?.().catch(() => null)) ?? {};
  return quota - usage > bytes;
}

function all(key) {
  return IDBKeyRange.bound([key], [key, []]);
}
