// What this browser keeps of practice until the studio has it: entries, and a timer that was begun.
// By person, so that nobody else is shown it; logging out clears it, and says so first.

export const NOTED = "studio:practice:"; // then the person, then the entry's key or the timer's place
const TIMER = "timer-";

/** Keep an entry: {at (its page), place, fields}. False where the browser keeps nothing. */
export function keepEntry(person, key, entry) {
  return put(`${NOTED}${person}:${key}`, entry);
}

export function dropEntry(person, key) {
  drop(`${NOTED}${person}:${key}`);
}

/** The entries of a person, as {key, at, place, fields, refused}, the first noted first. */
export function entriesOf(person, store) {
  return rowsOf(person, store)
    .filter(({ key }) => !key.startsWith(TIMER))
    .sort((a, b) => a.noted - b.noted);
}

/** The addresses of the pages of all that waits of a person, one for each. */
export function practiceNoted(person, store) {
  return rowsOf(person, store).map(({ at }) => at);
}

/** The times of a timer (stretches.js); none for one that was not begun. */
export function timerOf(person, place, store) {
  return rowsOf(person, store).find(({ key }) => key === TIMER + place)?.marks ?? [];
}

export function keepTimer(person, place, marks, at) {
  const name = `${NOTED}${person}:${TIMER}${place}`;
  if (marks.length) put(name, { at, marks });
  else drop(name);
}

function rowsOf(person, store) {
  const begin = `${NOTED}${person}:`;
  const names = Object.keys(store).filter((name) => name.startsWith(begin));
  return names.flatMap((name) => {
    const row = read(store[name]);
    return row ? [{ ...row, key: name.slice(begin.length) }] : [];
  });
}

function read(text) {
  try {
    return JSON.parse(text);
  } catch {
    return null;
  }
}

function put(name, row) {
  try {
    localStorage.setItem(name, JSON.stringify(row));
    return true;
  } catch {
    return false; // full, or forbidden
  }
}

function drop(name) {
  try {
    localStorage.removeItem(name);
  } catch {
    // nothing was kept
  }
}
