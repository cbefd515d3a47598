// How fast a recording goes, how long it still takes, and that in words. Pure.

import { megabytes } from "./sizes.js";

const WINDOW_MS = 15_000; // the pace of the last seconds; a phone's changes from minute to minute
const SHORTEST_MS = 2_000; // less tells nothing

/** The samples {ms, bytes} with a new one, without those too old. A step back begins them anew. */
export function noted(samples, sample) {
  const last = samples[samples.length - 1];
  if (last && sample.bytes < last.bytes) {
    return [sample];
  }
  return [...samples, sample].filter(({ ms }) => sample.ms - ms <= WINDOW_MS);
}

/** Seconds until `total` bytes are there at this pace; null while it cannot be told. */
export function secondsLeft(samples, total) {
  const [first] = samples;
  const last = samples[samples.length - 1];
  if (!first || last.ms - first.ms < SHORTEST_MS || last.bytes <= first.bytes) {
    return null;
  }
  return ((total - last.bytes) * (last.ms - first.ms)) / (last.bytes - first.bytes) / 1000;
}

/** (12.3e6, 84e6, 130) -> "12.3 MB of 84.0 MB (14 %), about 2 minutes left". */
export function amount(loaded, total, seconds) {
  const percent = total ? Math.floor((100 * loaded) / total) : 0;
  const left = seconds === null || loaded === total ? "" : `, ${span(seconds)} left`;
  return `${megabytes(loaded)} of ${megabytes(total)} (${percent} %)${left}`;
}

/** 50 -> "less than a minute"; 130 -> "about 2 minutes"; 5000 -> "about 1 h 23 min". */
export function span(seconds) {
  const minutes = Math.round(seconds / 60);
  if (seconds < 60) {
    return "less than a minute";
  }
  if (minutes < 60) {
    return `about ${minutes} ${minutes === 1 ? "minute" : "minutes"}`;
  }
  return `about ${Math.floor(minutes / 60)} h ${minutes % 60} min`;
}
