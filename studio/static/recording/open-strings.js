// Which open string sounds, from a spectrum. Pure. A simple reader, for one question before the
// first take: does the microphone get enough of the strings to be heard? What counts later is heard
// by the server. Levels in dB, frequencies in Hz, deviations in cents, sharp positive.
//
// Method: the highest peak near each of a string's first partials, its frequency by a parabola
// through three bins (spectra are windowed as the Web Audio API says, Blackman's); the string sounds
// where enough of them agree on one fundamental, and no lower note explains them.

const PARTIALS = 8;
const NEEDED = 4; // of the first six, the first among them; where a microphone has lost that one, five
const NEEDED_WITHOUT = 5;
const REACH_CENTS = 70; // how far from its place a string is looked for
const AGREE_CENTS = 8; // partials of a bowed string are harmonic far better than that
const ABOVE_DB = 20; // over the spectrum's middle, to be no noise
const BELOW_DB = 30; // a note below that explains a string is not softer than this
const STEADY_CENTS = 4; // between two looks
const FLOOR_HZ = [150, 5000];

/**
 * The open strings that sound: [{at, hz}], `at` counting `strings` from the lowest.
 *
 * `levels`: dB of each bin from 0 Hz on, `binHz` apart. `strings`: [{pure, equal}] in Hz.
 */
export function sounding(levels, binHz, strings) {
  const floor = middleOf(levels.slice(...FLOOR_HZ.map((hz) => Math.round(hz / binHz))));
  const look = { levels, binHz, least: floor + ABOVE_DB };
  return strings.flatMap((string, at) => {
    const found = fundamental(look, (string.pure + string.equal) / 2);
    return found && !isPartOfLower(look, found) ? [{ at, hz: found.hz }] : [];
  });
}

/** What two looks in a row agree on. */
export function steady(before, now) {
  return now.filter(({ at, hz }) => before.some((one) => one.at === at && apart(one.hz, hz) < STEADY_CENTS));
}

/**
 * Cents by which a string is off, 0 where pure fifths or equal temperament have it. `a4Hz`: of the
 * strings as given; `heardA4Hz`: the A that is played, where the studio has none of its own.
 */
export function off({ pure, equal }, hz, a4Hz, heardA4Hz = a4Hz) {
  const at = heardA4Hz / a4Hz;
  const [low, high] = [Math.min(pure, equal) * at, Math.max(pure, equal) * at];
  if (hz < low) return cents(hz / low);
  return hz > high ? cents(hz / high) : 0;
}

// -- internals --------------------------------------------------------------------------------

function fundamental(look, near) {
  const peaks = Array.from({ length: PARTIALS }, (_, at) => at + 1).flatMap((k) => {
    const peak = peakNear(look, k * near);
    return peak ? [{ k, hz: peak.hz / k, level: peak.level }] : [];
  });
  const middle = middleOf(peaks.map(({ hz }) => hz));
  const agreed = peaks.filter(({ hz }) => apart(hz, middle) < AGREE_CENTS);
  const first = agreed.find(({ k }) => k === 1);
  const enough = first ? agreed.filter(({ k }) => k <= 6).length >= NEEDED : agreed.length >= NEEDED_WITHOUT;
  if (!enough) return null;
  // A partial's place is known to a part of a bin whatever its number, so high ones tell more; not
  // by the square, since a real note's partials disagree by a cent or two among themselves.
  const weight = agreed.reduce((sum, { k }) => sum + k, 0);
  const hz = agreed.reduce((sum, one) => sum + one.k * one.hz, 0) / weight;
  return { hz, level: Math.max(...agreed.map(({ level }) => level)) };
}

/** Whether a stopped note an octave or a twelfth below has the string's partials among its own. */
function isPartOfLower({ levels, binHz, least }, { hz, level }) {
  const strict = { levels, binHz, least: Math.max(least, level - BELOW_DB) };
  const near = (ratio) => {
    const peak = peakNear(strict, ratio * hz);
    return peak !== null && apart(peak.hz, ratio * hz) < 2 * AGREE_CENTS;
  };
  return (near(1 / 2) && near(3 / 2)) || (near(1 / 3) && near(2 / 3));
}

function peakNear({ levels, binHz, least }, hz) {
  const reach = 2 ** (REACH_CENTS / 1200);
  const [from, to] = [Math.floor(hz / reach / binHz), Math.ceil((hz * reach) / binHz)];
  let best = -1;
  for (let bin = Math.max(from, 1); bin <= Math.min(to, levels.length - 2); bin += 1) {
    const isPeak = levels[bin] >= levels[bin - 1] && levels[bin] > levels[bin + 1];
    if (isPeak && levels[bin] >= least && (best < 0 || levels[bin] > levels[best])) best = bin;
  }
  if (best < 0) return null;
  const [before, top, after] = [levels[best - 1], levels[best], levels[best + 1]];
  const shift = (0.5 * (before - after)) / (before - 2 * top + after);
  return { hz: (best + shift) * binHz, level: top };
}

function middleOf(numbers) {
  return [...numbers].sort((a, b) => a - b)[Math.floor(numbers.length / 2)];
}

function cents(ratio) {
  return 1200 * Math.log2(ratio);
}

function apart(one, other) {
  return Math.abs(cents(one / other));
}
