// What is typed about a recording, kept in this browser until the server has it: through a reload
// and a closed tab. By person (and child), so that nobody else is shown it; the log-out clears it.

const KEPT_MS = 24 * 60 * 60 * 1000; // as long as the server keeps what is half sent

/** The words kept for a person: names and texts; {} when there are none, or they are old. */
export function kept(whose, now = Date.now()) {
  try {
    const { at, words } = JSON.parse(localStorage.getItem(name(whose))) ?? {};
    return now - at < KEPT_MS ? words : {};
  } catch {
    return {}; // no storage, or something else in it
  }
}

export function keep(whose, words, now = Date.now()) {
  try {
    localStorage.setItem(name(whose), JSON.stringify({ at: now, words }));
  } catch {
    // Full, or forbidden: then a reload loses what the server does not have yet.
  }
}

/** Whether just these words are kept. */
export function keeps(whose, words) {
  return JSON.stringify(kept(whose)) === JSON.stringify(words);
}

export function clear(whose) {
  try {
    localStorage.removeItem(name(whose));
  } catch {
    // nothing was kept
  }
}

function name(whose) {
  return `studio-send-${whose}`;
}
