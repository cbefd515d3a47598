// What the page says about what sounds. Pure.

import { beats as rateOf, cents as inCents } from "../figures.js";

const COUNTABLE_HZ = 12; // faster beats are heard as roughness; chosen, ears differ
const STILL_HZ = 0.05; // one beat in twenty seconds
const TUNINGS = {
  just: "just tuning",
  pythagorean: "Pythagorean tuning",
  equal: "equal temperament",
};

/** The interval and its size: "major sixth, 884.4 cents in just tuning, 5 to 3". */
export function size({ interval, cents, ratio }, tuning) {
  if (!interval) return "";
  const figure = `${interval}, ${inCents(cents[tuning], null, 1)}`;
  if (tuning !== "just") return `${figure} in ${TUNINGS[tuning]}`;
  if (!ratio.length) return `${figure}, as in ${TUNINGS.pythagorean}: it has no just size`;
  return `${figure} in ${TUNINGS.just}, ${ratio[0]} to ${ratio[1]}`;
}

export function mistuning(cents) {
  if (!cents) return "in tune";
  return `${inCents(cents)} too ${cents > 0 ? "wide" : "narrow"}`;
}

/** How it beats; `hz` is null where no beats can be heard. */
export function beats(hz) {
  if (hz === null) return "This interval has no beats that ears can count.";
  if (hz < STILL_HZ) return "No beats: the two notes stand still together.";
  const rate = rateOf(hz);
  return hz > COUNTABLE_HZ ? `${rate}: too quick to count, it sounds rough.` : `${rate[0].toUpperCase()}${rate.slice(1)}.`;
}

export function place(step, at, count) {
  return `Bar ${step.bar} · ${at + 1} of ${count}`;
}

export function names({ notes }) {
  return notes.length < 2 ? notes[0] : `${notes.slice(0, -1).join(", ")} and ${notes.at(-1)}`;
}

/** What is said when something begins to sound. */
export function sounding(step, way) {
  if (step.notes.length < 2 || way === "both") return `Sounding: ${names(step)}.`;
  if (way === "low") return `Sounding: ${step.notes[0]} alone.`;
  if (way === "high") return `Sounding: ${step.notes.at(-1)} alone.`;
  return `Sounding: ${step.notes.join(", ")}, then together.`;
}
