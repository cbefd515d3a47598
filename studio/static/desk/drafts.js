// What is being written is kept on this device at every keystroke, until the server has it.
// A form with data-draft="name" is kept whole (text, kind, moments, its key and the version it
// started from), so that a reload, a crash or a lost connection loses nothing.

const LEFT_OUT = ["csrfmiddlewaretoken", "listening", "choice"];

export class Drafts {
  #prefix;

  constructor(root, { person, clip }, signal) {
    this.#prefix = `desk:${person}:${clip}:`;
    for (const name of ["input", "change"]) {
      root.addEventListener(name, (event) => this.#keep(event.target.form), { signal });
    }
    this.restore(root);
  }

  // -- actions --------------------------------------------------------------------------------

  /** Put what was kept back into the forms of a part of the page. */
  restore(part) {
    for (const form of part.querySelectorAll("form[data-draft]")) {
      const kept = this.#read(form);
      if (!kept) continue;
      if (saysTheSame(form, ({ name }) => kept[name] ?? "", ({ value }) => value)) {
        this.forget(form);
        continue;
      }
      for (const [name, value] of Object.entries(kept)) fill(form, name, value);
      const details = form.closest("details");
      if (details) details.open = true;
      form.dataset.restored = form.dataset.kept = "";
    }
  }

  keep(form) {
    this.#keep(form);
  }

  forget(form) {
    delete form.dataset.restored;
    delete form.dataset.kept;
    try {
      localStorage.removeItem(this.#key(form));
    } catch {
      // a browser that keeps nothing has nothing to forget
    }
  }

  // -- internals ------------------------------------------------------------------------------

  #keep(form) {
    if (!form?.matches?.("form[data-draft]")) return;
    if (saysTheSame(form, ({ value }) => value, itself)) return void this.forget(form);
    form.dataset.kept = "";
    const data = [...new FormData(form)].filter(
      ([name, value]) => typeof value === "string" && !LEFT_OUT.includes(name),
    ); // a recording is kept by reply-recorder
    try {
      localStorage.setItem(this.#key(form), JSON.stringify(Object.fromEntries(data)));
    } catch {
      // private windows may refuse to keep; the text still stands in the form
    }
  }

  #read(form) {
    try {
      return JSON.parse(localStorage.getItem(this.#key(form)) ?? "null");
    } catch {
      return null;
    }
  }

  #key(form) {
    return this.#prefix + form.dataset.draft;
  }
}

const WRITTEN = "textarea, input[name='title'], input[name='goal'], input[name^='drawing']";

/** What the page says in a field by itself. */
const itself = ({ type, defaultValue }) => (type === "hidden" ? "" : defaultValue);

/** Whether one is no more than the other in everything that is written. */
function saysTheSame(form, one, other) {
  return [...form.querySelectorAll(WRITTEN)].every((field) => one(field).trim() === other(field).trim());
}

function fill(form, name, value) {
  const field = form.elements.namedItem(name);
  if (field) field.value = value; // of radio buttons, the list's value checks the right one
}
