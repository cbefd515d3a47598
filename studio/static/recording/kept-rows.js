// Rows that this browser keeps (IndexedDB), where it keeps any.

export class KeptRows {
  #database;
  #stores;

  /** `database`: its name. `stores`: the names of all its stores, made at the first use. */
  constructor(database, stores) {
    this.#database = database;
    this.#stores = stores;
  }

  /**
   * One exchange with some stores: `ask(...stores)` makes its requests and returns one of them.
   * Gives that one's result once all is written (null for nothing); undefined where the browser
   * refuses, be it for want of room.
   */
  inside(mode, names, ask) {
    return new Promise((resolve) => {
      const refused = () => resolve(undefined);
      const opening = this.#open();
      if (!opening) return refused();
      opening.onupgradeneeded = () => this.#stores.forEach((name) => opening.result.createObjectStore(name));
      opening.onerror = refused;
      opening.onsuccess = () => exchange(opening.result, mode, names, ask, resolve);
      return undefined;
    });
  }

  #open() {
    try {
      return indexedDB.open(this.#database, 1);
    } catch {
      return null; // some private windows
    }
  }
}

function exchange(database, mode, names, ask, resolve) {
  try {
    const running = database.transaction(names, mode);
    const request = ask(...names.map((name) => running.objectStore(name)));
    running.oncomplete = () => {
      database.close();
      resolve(request.result ?? null);
    };
    running.onerror = running.onabort = () => {
      database.close();
      resolve(undefined);
    };
  } catch {
    database.close();
    resolve(undefined);
  }
}
