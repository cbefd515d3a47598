// The one way to say a figure or a time on a page. Pure. studio/figures is the same in Python and
// says the rules; a test holds the two against each other, character by character.

import { gettext, ngettext } from "./translation.js";

const MINUS = "−";
const DASH = "–";
const EDGE = 1e-6; // of the last digit: a figure this near to the next one is that one
const TOLD_S = 2e-6; // players tell their time in whole microseconds, cut off
const MB = 1_000_000;
const PLACE = /^(?:(?:(\d{1,2}):(?=\d{1,2}:))?(\d{1,3}):)?(\d{1,5}(?:[.,]\d{1,3})?)$/;

// -- sizes ------------------------------------------------------------------------------------

/** A deviation with its sign: "+18", "−7", "0"; a dash where there is none. */
export function signed(value, digits = 0) {
  if (!known(value)) return DASH;
  const ticks = nearest(value, digits);
  return (ticks ? (value < 0 ? MINUS : "+") : "") + said(ticks, digits);
}

/** An uncertainty in cents, rounded up: "±1 c"; empty where it is not known. */
export function plusMinus(uncertainty, digits = 0) {
  return known(uncertainty) ? `±${doubt(uncertainty, digits)} c` : "";
}

/** A size without a direction: "1 cent", "18 ± 1 cents". */
export function cents(value, uncertainty = null, digits = 0) {
  return inCents(said(nearest(value, digits), digits), uncertainty, digits);
}

/** "+18 ± 1 cents"; empty where there is none. */
export function signedCents(value, uncertainty = null, digits = 0) {
  return known(value) ? inCents(signed(value, digits), uncertainty, digits) : "";
}

/** A way along the string: "about 4 mm", "less than 1 mm". */
export function aboutMm(value) {
  const whole = nearest(value);
  return whole ? gettext("about %(mm)s mm", { mm: whole }) : gettext("less than 1 mm");
}

export function hertz(value, digits = 1) {
  return `${said(nearest(value, digits), digits)} Hz`;
}

/** "2.7 beats a second", "one beat every 2.5 seconds" */
export function beats(rateHz) {
  if (rateHz < 1) return gettext("one beat every %(s)s seconds", { s: said(nearest(1 / rateHz, 1), 1) });
  return gettext("%(rate)s beats a second", { rate: said(nearest(rateHz, 1), 1) });
}

/** The share of a whole, 0 to 100, floored, so that 100 is all of it. */
export function percent(part, whole) {
  return whole > 0 ? Math.min(downwards((100 * part) / whole), 100) : 0;
}

/** "12.3 MB"; from 100 on whole; never 0 where there is something. */
export function megabytes(bytes) {
  if (bytes > 0 && bytes < MB / 10) return gettext("under 0.1 MB");
  const digits = bytes < 100 * MB ? 1 : 0;
  return `${said(nearest(bytes / MB, digits), digits)} MB`;
}

/** A number for a form or an address: all its digits, a plain minus. */
export function decimal(value, digits = 3) {
  const ticks = nearest(value, digits);
  return (value < 0 && ticks ? "-" : "") + written(ticks, digits);
}

// -- times ------------------------------------------------------------------------------------

/** A moment of a recording, floored: 119.7 is in 1:59. Empty where it is not known. */
export function place(seconds, digits = 0) {
  return known(seconds) ? clock(downwards(Math.max(seconds, 0) + TOLD_S, digits), digits) : "";
}

/** How long a recording is, to the nearest second: 119.7 reads 2:00. */
export function length(seconds) {
  return known(seconds) ? clock(nearest(Math.max(seconds, 0)), 0) : "";
}

/** "0.6 s", "2 s" */
export function seconds(value, digits = 1) {
  const text = written(nearest(value, digits), digits).replace(/\.0$/, "");
  return `${localised(text)} s`;
}

/** Seconds from 1:02.4, 62.4 or 1:02:05; null when it is not a moment. */
export function parsePlace(text) {
  const found = PLACE.exec(text.trim());
  if (!found) return null;
  const [hours, minutes] = [Number(found[1] ?? 0), Number(found[2] ?? 0)];
  const rest = Number(found[3].replace(",", "."));
  if ((found[2] && rest >= 60) || (found[1] && minutes >= 60)) return null;
  return 3600 * hours + 60 * minutes + rest;
}

/** How long something still takes: "less than a minute", "about 2 minutes", "about 1 h 23 min". */
export function wait(forSeconds) {
  const minutes = nearest(forSeconds / 60);
  if (forSeconds < 60) return gettext("less than a minute");
  if (minutes < 60) return ngettext("about %(count)s minute", "about %(count)s minutes", minutes);
  return gettext("about %(hours)s h %(rest)s min", { hours: Math.floor(minutes / 60), rest: minutes % 60 });
}

// -- internals --------------------------------------------------------------------------------

function known(value) {
  return Number.isFinite(value);
}

function nearest(value, digits = 0) {
  return Math.floor(Math.abs(value) * 10 ** digits + 0.5 + EDGE);
}

function upwards(value, digits) {
  return Math.ceil(Math.abs(value) * 10 ** digits - EDGE);
}

function downwards(value, digits = 0) {
  return Math.floor(Math.max(value, 0) * 10 ** digits + EDGE);
}

/** A count of the last digit as a decimal: (23, 1) is "2.3". */
function written(ticks, digits) {
  if (!digits) return String(ticks);
  const parts = 10 ** digits;
  return `${Math.floor(ticks / parts)}.${padded(ticks % parts, digits)}`;
}

/** The same for a reader, with the decimal sign of the language. */
function said(ticks, digits) {
  return localised(written(ticks, digits));
}

function localised(text) {
  return text.replace(".", gettext("."));
}

function inCents(figure, uncertainty, digits) {
  if (known(uncertainty)) return gettext("%(size)s ± %(doubt)s cents", { size: figure, doubt: doubt(uncertainty, digits) });
  return /^[+−]?1$/.test(figure) ? gettext("%(size)s cent", { size: figure }) : gettext("%(size)s cents", { size: figure });
}

function doubt(uncertainty, digits) {
  return said(Math.max(1, upwards(uncertainty, digits)), digits);
}

function clock(ticks, digits) {
  const parts = 10 ** digits;
  const whole = Math.floor(ticks / parts);
  const minutes = Math.floor(whole / 60);
  const hours = Math.floor(minutes / 60);
  const head = hours ? `${hours}:${padded(minutes % 60, 2)}` : String(minutes);
  const part = digits ? gettext(".") + padded(ticks % parts, digits) : "";
  return `${head}:${padded(whole % 60, 2)}${part}`;
}

function padded(number, digits) {
  return String(number).padStart(digits, "0");
}
