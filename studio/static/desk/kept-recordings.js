// What was recorded and is not on the server yet, kept by this browser (IndexedDB). A small note
// in localStorage tells the page, without opening the database, that there is something.

import { KeptRows } from "../recording/kept-rows.js";
import { KEPT } from "./kept.js";

const ROWS = "recordings";
const database = new KeptRows("studio-replies", [ROWS]);
const inside = (mode, ask) => database.inside(mode, [ROWS], ask);

/** Keep a recording: { file, formKey }. Says whether the browser could. */
export async function keep(name, made) {
  const done = await inside("readwrite", (rows) => rows.put(made, name));
  if (done !== undefined) note(name, true);
  return done !== undefined;
}

/** What was kept under a name, or null. */
export async function kept(name) {
  return (await inside("readonly", (rows) => rows.get(name))) ?? null;
}

export async function forget(name) {
  note(name, false);
  await inside("readwrite", (rows) => rows.delete(name));
}

function note(name, there) {
  try {
    if (there) localStorage.setItem(KEPT + name, "");
    else localStorage.removeItem(KEPT + name);
  } catch {
    // private windows may refuse; then it is kept as long as the page stands
  }
}
