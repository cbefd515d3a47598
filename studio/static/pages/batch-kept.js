// What is written for the clips of a batch, kept on this device until they are returned.

export class Kept {
  #key;
  #fields;

  /** Puts back what was kept, where the page says nothing itself. */
  constructor(person, fields) {
    this.#key = `batch:${person}`;
    this.#fields = fields;
    const before = `pile:${person}`; // its name before
    const kept = { ...read(before), ...read(this.#key) };
    forget(before);
    for (const field of fields) if (!field.value) field.value = kept[field.name] ?? "";
  }

  keep() {
    const written = this.#fields.filter(({ value }) => value).map(({ name, value }) => [name, value]);
    try {
      localStorage.setItem(this.#key, JSON.stringify(Object.fromEntries(written)));
    } catch {
      // a browser that keeps nothing: the words still stand on the page
    }
  }
}

function forget(key) {
  try {
    localStorage.removeItem(key);
  } catch {
    // a browser that keeps nothing has nothing to forget
  }
}

function read(key) {
  try {
    return JSON.parse(localStorage.getItem(key) ?? "{}") ?? {};
  } catch {
    return {};
  }
}
