// What stands at the desk: which mark is selected and which sounds, what the server has said of the
// marks, and what was pressed since. Pure: no document, no clock, no network; every function returns
// a new state. A mark is named by what it is about, which stays when numbers move on. Marks that are
// proposed quietly come after the others, and are none that is still to be decided.
//
// An act is one press: { key, sets: [[mark, choice]], … }, with `of` where it takes back another. It is
// shown at once, stays in the queue until the server has it, and is sent in its turn. `decided` holds the presses that decided
// something and were not taken back, each with what stood before.

export function begin({ marks = [], version = 0, decided = [] } = {}) {
  return Object.freeze({
    order: marks.map(({ mark }) => mark),
    quiet: Object.freeze(marks.filter(({ quiet }) => quiet).map(({ mark }) => mark)),
    confirmed: Object.freeze(Object.fromEntries(marks.map(({ mark, choice }) => [mark, choice]))),
    version,
    queue: Object.freeze([]),
    decided: Object.freeze(decided),
    selected: null,
    fresh: false,
    sounding: null,
  });
}

const changed = (state, more) => Object.freeze({ ...state, ...more });

// -- selected, sounding ------------------------------------------------------------------------

export const select = (state, mark) => changed(state, { selected: mark, fresh: false });

/** The page itself has gone to a mark: nobody has heard it yet, so "next" is this one. */
export const arrivedAt = (state, mark) => changed(state, { selected: mark, fresh: mark !== null });

export const sound = (state, mark) => changed(state, { sounding: mark });

/** The mark `by` places from the selected one, null at an end; `first` is meant where none is. */
export function neighbour(state, by, first) {
  const at = state.order.indexOf(state.selected);
  if (by > 0 && state.fresh) return state.selected;
  return state.order[at < 0 ? first : at + by] ?? null;
}

/** The mark to go on to: the next one that is still to be decided, null where none is after it. */
export function nextOpen(state) {
  const after = state.order.slice(state.order.indexOf(state.selected) + 1);
  return after.find((mark) => choiceOf(state, mark) === "") ?? null;
}

// -- what is shown -----------------------------------------------------------------------------

/** "kept", "dropped" or "": what the server said, and over it what was pressed since. */
export function choiceOf(state, mark) {
  for (const { sets } of state.queue.toReversed()) {
    const set = sets.find(([of]) => of === mark);
    if (set) return set[1];
  }
  return state.confirmed[mark] ?? "";
}

/** Whether something about a mark is not with the server yet. */
export const isPending = (state, mark) => state.queue.some(({ sets }) => sets.some(([of]) => of === mark));

/** The marks that are still to be decided, but for the quiet ones. */
export const openMarks = (state) => loudOf(state).filter((mark) => choiceOf(state, mark) === "");

/** The marks that are not proposed quietly. */
export const loudOf = ({ order, quiet }) => order.filter((mark) => !quiet.includes(mark));

// -- presses -----------------------------------------------------------------------------------

/** An act goes to the end of the queue. */
export function pressed(state, act) {
  const whole = { sets: [], ...act };
  return changed(state, { queue: [...state.queue, whole], decided: decidedWith(state, whole) });
}

function decidedWith(state, { key, sets, of }) {
  if (of !== undefined) return state.decided.filter((done) => done.key !== of);
  const known = state.decided.some((done) => done.key === key);
  if (known || !sets.length) return state.decided;
  return [...state.decided, { key, before: sets.map(([mark]) => [mark, choiceOf(state, mark)]) }];
}

/** What pages that are gone have left goes before what was pressed since this one began. */
export function tookOn(begun, state, acts) {
  const { queue, decided } = [...acts, ...state.queue].reduce(pressed, begun);
  return changed(state, { queue, decided });
}

/** Keep or drop a mark. What is so already stays so, and nothing is pressed. */
export function decide(state, mark, choice, act) {
  if (mark === null || choiceOf(state, mark) === choice) return state;
  return changed(pressed(state, { ...act, sets: [[mark, choice]] }), { fresh: false });
}

/** Take back the last decision, or that of a key. The selection goes to a mark that is taken back. */
export function undo(state, act, key = state.decided.at(-1)?.key) {
  const done = state.decided.find((one) => one.key === key);
  if (!done) return state;
  const [[mark]] = done.before;
  const selected = done.before.length === 1 && state.order.includes(mark) ? mark : state.selected;
  return changed(pressed(state, { ...act, of: key, sets: done.before }), { selected, fresh: false });
}

// -- answers: they move neither the selection nor what sounds ------------------------------------

/** The marks as an answer shows them; one older than what is known already changes nothing. */
export function merged(state, version, marks) {
  if (version < state.version) return state;
  const said = Object.fromEntries(marks.map(({ mark, choice }) => [mark, choice]));
  return changed(state, { version, confirmed: { ...state.confirmed, ...said } });
}

/** The marks that are on the page now, in its order. One that is gone cannot stay selected. */
export function ordered(state, order, quiet = state.quiet) {
  if (isSame(order, state.order) && isSame(quiet, state.quiet)) return state;
  const selected = order.includes(state.selected) ? state.selected : heir(state, order);
  return changed(state, { order, quiet, selected });
}

const isSame = (some, others) => some.length === others.length && some.every((mark, n) => mark === others[n]);

/** In the place of a selected mark that is gone: the next one that is there, else the one before. */
function heir({ order: old, selected }, order) {
  const at = old.indexOf(selected);
  if (at < 0) return null;
  const there = (mark) => order.includes(mark);
  return old.slice(at).find(there) ?? old.slice(0, at).findLast(there) ?? null;
}

/** The server has carried an act out, or never will: it leaves the queue. */
export const settled = (state, key) => changed(state, { queue: state.queue.filter((act) => act.key !== key) });

/** The server will not have an act: it was never done, and neither is what would take it back. */
export function refused(state, key) {
  return changed(state, {
    queue: state.queue.filter((act) => act.key !== key && act.of !== key),
    decided: state.decided.filter((done) => done.key !== key),
  });
}
