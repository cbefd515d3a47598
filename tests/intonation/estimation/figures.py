"""Print how exact the measured cents are: ``python -m tests.intonation.estimation.figures``.

Each row is a set of double stops made from seeds: sizes spread over +-30 c about an interval,
durations of 0.6 to 2.5 s, in a room at 30 dB unless the row says otherwise. Every measurement
starts from pitches off by up to 25 c and spans off by up to 50 ms. Errors are absolute, in
cents, over the events that are not unsure ("open" counts the unsure ones); rows "against clean"
hold the measurement against that of the same sound before it was spoilt, not against the truth.

"within 1" and "within 2" say how often one and two stated standard deviations cover the error,
in percent. Where the notes are recorded, the truth is the catalogue's median of either note, and
two of those together are good to about half a cent (less for the highest notes): that much,
``LABEL_CENTS``, is added in squares to the stated deviation before counting. "bound" is the
median Cramer-Rao bound of the interval for partials that fall as 1/k in the row's noise: what
noise alone would allow.
"""

import argparse
import time
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy import signal

from studio.intonation.estimation import measure_sounding
from tests.intonation.estimation import cramer_rao, tones

SIMPLE = (315.6, 386.3, 498.0, 590.2, 702.0, 813.7, 884.4, 1017.6, 1586.3)
OCTAVE = (1200.0,)
LABEL_CENTS = 0.5  # uncertainty of the interval between two catalogued notes


Spoil = Callable[[np.ndarray, int], np.ndarray]


def codec(name: str, kbps: int) -> Spoil:
    """A phone's codec at 44.1 kHz."""

    def spoil(y: np.ndarray, sr: int) -> np.ndarray:
        back = tones.through_codec(signal.resample_poly(y, 44100, sr), 44100, name, kbps)
        return signal.resample_poly(back, sr, 44100)[: len(y)]

    return spoil


def gain_control(y: np.ndarray, sr: int) -> np.ndarray:
    """A gain that follows the level up in 300 ms and down in 20 ms, as phones do."""
    level = np.sqrt(signal.lfilter([0.01], [1, -0.99], y**2) + 1e-8)
    held, gain = level[0], np.empty(len(y))
    up, down = np.exp(-1 / (0.02 * sr)), np.exp(-1 / (0.3 * sr))
    for i, now in enumerate(level):
        keep = up if now > held else down
        held = keep * held + (1 - keep) * now
        gain[i] = 0.1 / max(held, 1e-3)
    return np.clip(y * gain, -1, 1)


def clipped(y: np.ndarray, sr: int) -> np.ndarray:
    """One sample in ten at full scale."""
    most = np.percentile(np.abs(y), 90)
    return np.clip(y, -most, most)


def small_microphone(y: np.ndarray, sr: int) -> np.ndarray:
    """200 Hz to 8 kHz, falling by 12 dB an octave outside."""
    return signal.sosfilt(signal.butter(2, [200, 8000], "band", fs=sr, output="sos"), y)


@dataclass(frozen=True)
class Row:
    """One set: what is played and what the room and the microphone do to it.

    ``within_cents``: sizes drawn evenly from there instead of ``sizes``; ``given_cents``: how far
    off the pitches handed over are.
    """

    name: str
    sizes: tuple[float, ...]
    maker: Callable = tones.bowed_tone
    vibrato_cents: float = 0.0
    one_hand: bool = True
    snr_db: float = 30.0
    rt60_s: float = 0.4
    balance_db: float = 0.0
    duration_s: tuple[float, float] = (0.6, 2.5)
    low_hz: tuple[float, float] = (150.0, 700.0)
    within_cents: tuple[float, float] | None = None
    given_cents: float = 25.0
    spoil: Spoil | None = None


ROWS = (
    Row("steady", SIMPLE),
    Row("steady octaves", OCTAVE),
    Row("steady, 10 dB, 0.8 s room", SIMPLE, snr_db=10, rt60_s=0.8),
    Row("steady, one voice -12 dB", SIMPLE, balance_db=-12),
    Row("octaves, upper voice -12 dB", OCTAVE, balance_db=-12),
    Row("twelfths, double octaves", (1902.0, 2400.0)),
    Row("unisons", (0.0,)),
    Row("unisons 5 to 60 c, +-3 c given", (), within_cents=(5, 60), given_cents=3),
    Row("short, 0.25 to 0.6 s", SIMPLE, duration_s=(0.25, 0.6)),
    Row("short octaves", OCTAVE, duration_s=(0.25, 0.6)),
    Row("one voice -20 dB", SIMPLE, balance_db=-20),
    Row("noise 10 dB", SIMPLE, snr_db=10),
    Row("viola, from C3", SIMPLE, low_hz=(130.8, 200)),
    Row("high, to G7", (315.6, 386.3, 498.0, 702.0, 884.4), low_hz=(900, 1800)),
    Row("AAC 64 kbit/s, against clean", SIMPLE + OCTAVE, spoil=codec("aac", 64)),
    Row("AAC 32 kbit/s, against clean", SIMPLE + OCTAVE, spoil=codec("aac", 32)),
    Row("Opus 24 kbit/s, against clean", SIMPLE + OCTAVE, spoil=codec("libopus", 24)),
    Row("gain control, against clean", SIMPLE + OCTAVE, spoil=gain_control),
    Row("clipped, against clean", SIMPLE + OCTAVE, spoil=clipped),
    Row("200 Hz to 8 kHz, against clean", SIMPLE + OCTAVE, spoil=small_microphone),
    Row("vibrato 15 c", SIMPLE, vibrato_cents=15),
    Row("vibrato 15 c, octaves", OCTAVE, vibrato_cents=15),
    Row("vibrato 30 c", SIMPLE, vibrato_cents=30),
    Row("vibrato 15 c, two hands", SIMPLE, vibrato_cents=15, one_hand=False),
    Row("recorded notes", SIMPLE, maker=tones.real_note),
    Row("recorded notes, octaves", OCTAVE, maker=tones.real_note),
    Row("recorded notes, vibrato 15 c", SIMPLE, maker=tones.real_note, vibrato_cents=15),
)


def event(row: Row, seed: int) -> tones.Mix:
    """One double stop of a row."""
    rng = np.random.default_rng(seed)
    if row.within_cents:
        size = float(rng.uniform(*row.within_cents))
    else:
        size = float(rng.choice(row.sizes) + rng.uniform(-30, 30))
    low_hz = float(np.exp(rng.uniform(*np.log(row.low_hz))))
    duration, phase = rng.uniform(*row.duration_s), rng.uniform(0, 6.28)
    rate = rng.uniform(4.5, 6.5)
    voices = []
    for hz in (low_hz, low_hz * 2 ** (abs(size) / 1200)):
        voices.append(
            row.maker(
                rng,
                hz,
                duration,
                vibrato_cents=row.vibrato_cents * rng.uniform(0.8, 1.1),
                vibrato_hz=rate,
                vibrato_phase=phase + rng.normal(0, 0.3),
            )
        )
        if not row.one_hand:
            phase, rate = rng.uniform(0, 6.28), rng.uniform(4.5, 6.5)
    balance = (0.0, row.balance_db)
    return tones.mix(rng, voices, snr_db=row.snr_db, rt60_s=row.rt60_s, balance_db=balance)


def noise_bound(row: Row, mix: tones.Mix, rng: np.random.Generator) -> float:
    """Cramer-Rao bound of the interval in cents, partials falling as 1/k up to 5 kHz."""
    f0 = np.array([voice.f0_hz for voice in mix.voices])
    k = np.arange(1, 9)
    level = 10 ** (np.array([[0.0], [row.balance_db]]) / 20)
    amplitudes = level / k * (k * f0[:, None] < 5000)
    sd = np.sqrt(np.sum(amplitudes**2) / 2 * 10 ** (-row.snr_db / 10))
    phases = rng.uniform(0, 6.28, amplitudes.shape)
    length_s = min(mix.end_s - mix.start_s, 0.8)
    covariance = cramer_rao.joint_covariance_cents(
        f0, np.maximum(amplitudes, 1e-3), phases, float(sd), 2 * 8192, length_s
    )
    return cramer_rao.interval_bound_cents(covariance)


def measure(row: Row, count: int, seed: int) -> str:
    """Measure one row and format its figures."""
    errors, stated, bounds, spent, played = [], [], [], 0.0, 0.0
    for i in range(count):
        mix = event(row, seed + i)
        sounding = tones.coarse(np.random.default_rng(seed + i), mix, row.given_cents)
        true = abs(tones.true_size(mix))
        if i < 8:
            bounds.append(noise_bound(row, mix, np.random.default_rng(i)))
        if row.spoil:
            true = measure_sounding(mix.y, mix.sr, sounding).intervals[0].size_cents
            mix.y = row.spoil(mix.y, mix.sr)
        begun = time.process_time()
        fit = measure_sounding(mix.y, mix.sr, sounding).intervals[0]
        spent += time.process_time() - begun
        played += mix.end_s - mix.start_s
        if fit.uncertainty_cents is not None:
            errors.append(abs(fit.size_cents - true))
            stated.append(fit.uncertainty_cents)
    e, s = np.array(errors), np.array(stated)
    known = np.hypot(s, LABEL_CENTS if row.maker is tones.real_note else 0.0)
    middle, p90, p95 = np.percentile(e, [50, 90, 95])
    return (
        f"{row.name:30} {count - len(e):4d} {middle:7.2f} {p90:7.2f} {p95:7.2f} {e.max():7.2f}"
        f" {np.median(s):8.2f} {100 * np.mean(e < known):8.0f} {100 * np.mean(e < 2 * known):8.0f}"
        f" {np.median(bounds):8.4f} {played / spent:8.0f}"
    )


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--events", type=int, default=60, help="double stops per row")
    parser.add_argument("--seed", type=int, default=50_000)
    parser.add_argument("--rows", default="", help="only rows whose name holds this")
    options = parser.parse_args()
    print(f"{options.events} events per row, seeds from {options.seed}; cents")
    print(
        f"{'set':30} {'open':>4} {'median':>7} {'p90':>7} {'p95':>7} {'max':>7}"
        f" {'stated':>8} {'within 1':>8} {'within 2':>8} {'bound':>8} {'x real':>8}"
    )
    for row in [row for row in ROWS if options.rows in row.name]:
        print(measure(row, options.events, options.seed), flush=True)


if __name__ == "__main__":
    main()
