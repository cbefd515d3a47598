// What the page says about what sounds. Pure.

import { beats as rateOf, cents as inCents } from "../figures.js";
import { gettext } from "../translation.js";

const COUNTABLE_HZ = 12; // faster beats are heard as roughness; chosen, ears differ
const STILL_HZ = 0.05; // one beat in twenty seconds
const TUNINGS = {
  just: (size) => gettext("%(size)s in just tuning", { size }),
  pythagorean: (size) => gettext("%(size)s in Pythagorean tuning", { size }),
  equal: (size) => gettext("%(size)s in equal temperament", { size }),
};

/** The interval and its size: "major sixth, 884.4 cents in just tuning, 5 to 3". */
export function size({ interval, cents, ratio }, tuning) {
  if (!interval) return "";
  const figure = `${interval}, ${inCents(cents[tuning], null, 1)}`;
  if (tuning !== "just") return TUNINGS[tuning](figure);
  if (!ratio.length) return gettext("%(size)s, as in Pythagorean tuning: it has no just size", { size: figure });
  const [high, low] = ratio;
  return gettext("%(size)s, %(high)s to %(low)s", { size: TUNINGS.just(figure), high, low });
}

export function mistuning(cents) {
  if (!cents) return gettext("in tune");
  const said = { cents: inCents(cents) };
  return cents > 0 ? gettext("%(cents)s too wide", said) : gettext("%(cents)s too narrow", said);
}

/** How it beats; `hz` is null where no beats can be heard. */
export function beats(hz) {
  if (hz === null) return gettext("This interval has no beats that ears can count.");
  if (hz < STILL_HZ) return gettext("No beats: the two notes stand still together.");
  const rate = rateOf(hz);
  return hz > COUNTABLE_HZ ? gettext("%(rate)s: too quick to count, it sounds rough.", { rate }) : `${rate[0].toUpperCase()}${rate.slice(1)}.`;
}

export function place(step, at, count) {
  return gettext("Bar %(bar)s · %(number)s of %(count)s", { bar: step.bar, number: at + 1, count });
}

export function names({ notes }) {
  return notes.length < 2 ? notes[0] : gettext("%(others)s and %(last)s", {
    others: notes.slice(0, -1).join(", "),
    last: notes.at(-1),
  });
}

/** What is said when something begins to sound. */
export function sounding(step, way) {
  if (step.notes.length < 2 || way === "both") return gettext("Sounding: %(notes)s.", { notes: names(step) });
  if (way === "low") return gettext("Sounding: %(note)s alone.", { note: step.notes[0] });
  if (way === "high") return gettext("Sounding: %(note)s alone.", { note: step.notes.at(-1) });
  return gettext("Sounding: %(notes)s, then together.", { notes: step.notes.join(", ") });
}
