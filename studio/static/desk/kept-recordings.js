// What was recorded and is not on the server yet, kept by this browser (IndexedDB). A small note
// in localStorage tells the page, without opening the database, that there is something.

import { KEPT } from "./kept.js";

const DATABASE = "studio-replies";
const ROWS = "recordings";

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

/** What a request gives (null for nothing), or undefined where the browser refuses. */
function inside(mode, ask) {
  return new Promise((resolve) => {
    const opening = indexedDB.open(DATABASE, 1);
    opening.onupgradeneeded = () => opening.result.createObjectStore(ROWS);
    opening.onerror = () => resolve(undefined);
    opening.onsuccess = () => {
      const database = opening.result;
      const exchange = database.transaction(ROWS, mode);
      const request = ask(exchange.objectStore(ROWS));
      exchange.oncomplete = () => resolve(request.result ?? null);
      exchange.onerror = exchange.onabort = () => resolve(undefined);
      exchange.addEventListener("complete", () => database.close());
    };
  });
}
