// The takes that this browser keeps, second by second as they are recorded, so that a browser that
// is killed has lost one second. Each belongs to the person (and child) whose page recorded it. A
// note in localStorage tells other pages, without opening the database, that there is one.

import { endingOf } from "./capture.js";
import { KeptRows } from "./kept-rows.js";
import { NOTE, note } from "./take-notes.js";

const TAKES = "takes";
const PIECES = "pieces";
const database = new KeptRows("studio-takes", [TAKES, PIECES]);
const lockOf = (id) => `studio-take:${id}`;

/**
 * A take as a row: {id, whose, person, number, made (ms), kind, type, seconds, bytes, pieces (how
 * many), key (of its upload), clipped, recording, sending, cut: {fromS, toS} or null, words: what was
 * typed of it, once it was on its way}.
 * `key` is the upload's from the beginning: whatever breaks off, the same take becomes one clip.
 */
export function newTake({ whose, person, number, kind, key }) {
  const now = Date.now();
  const id = `${now}-${key}`;
  const empty = { seconds: 0, bytes: 0, pieces: 0, type: "", clipped: false, sending: false, cut: null };
  return { id, whose, person, number, kind, key, made: now, recording: true, ...empty };
}

/** Says to other tabs that this page records it; until `done` is called or the page is gone. */
export function held(take) {
  let done = () => {};
  const gone = new Promise((resolve) => { done = resolve; });
  navigator.locks?.request(lockOf(take.id), () => gone);
  return done;
}

/** Keep one more piece and what is known of the take by now; false where the browser refuses. */
export async function keepPiece(take, at, piece, address) {
  const put = (takes, pieces) => {
    takes.put(row(take), take.id);
    return pieces.put(piece, [take.id, at]);
  };
  const done = await database.inside("readwrite", [TAKES, PIECES], put);
  if (done !== undefined && at === 0) noteTake(take, address);
  return done !== undefined;
}

/** Keep what has changed of a take; nothing where it is not kept. */
export function keepTake(take) {
  return database.inside("readwrite", [TAKES], (takes) => {
    const there = takes.getKey(take.id);
    there.onsuccess = () => there.result && takes.put(row(take), take.id);
    return there;
  });
}

/** Remove it from this browser; null once it is gone. */
export async function remove(take) {
  noteTake(take, null);
  return database.inside("readwrite", [TAKES, PIECES], (takes, pieces) => {
    takes.delete(take.id);
    return pieces.delete(IDBKeyRange.bound([take.id], [take.id, []]));
  });
}

/** The takes kept for one person (and child), oldest first; not those that another tab records. */
export async function takesOf(whose, address) {
  const all = (await database.inside("readonly", [TAKES], (takes) => takes.getAll())) ?? [];
  const { held: locks = [] } = (await navigator.locks?.query()) ?? {};
  const living = new Set(locks.map(({ name }) => name));
  const own = all.filter((take) => take.whose === whose && !living.has(lockOf(take.id)));
  for (const take of own) noteTake(take, address); // lost where only the small store was emptied
  return own
    .map((take) => ({ ...take, recording: false, broken: take.recording || take.broken, kept: true }))
    .sort((a, b) => a.made - b.made);
}

/** The take as a file, its pieces put together; null where the browser has lost it. */
export async function fileOf(take) {
  const range = IDBKeyRange.bound([take.id], [take.id, []]);
  const pieces = take.inHand ?? (await database.inside("readonly", [PIECES], (rows) => rows.getAll(range)));
  if (!pieces?.length) return null;
  const name = `take-${take.number}.${endingOf(take.type)}`;
  return new File(pieces, name, { type: take.type, lastModified: take.made });
}

/** Without what only this page knows of it. */
function row({ inHand, kept, ...fields }) {
  return fields;
}

function noteTake({ person, id }, address) {
  note(NOTE, person, id, address);
}
