// How fast a recording goes, how long it still takes, and that in words. Pure.

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
