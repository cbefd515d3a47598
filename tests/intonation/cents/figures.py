"""Print how exact the measured cents are: ``python -m tests.intonation.cents.figures``.

Each row is a set of double stops made from seeds: sizes spread over +-30 c about an interval,
durations of 0.6 to 2.5 s, in a room at 30 dB unless the row says otherwise. Every measurement
starts from pitches off by up to 25 c and spans off by up to 50 ms. Errors are absolute, in
cents, over the events that are not unsure ("open" counts the unsure ones); "within 1" and
"within 2" say how often one and two stated standard deviations cover the error, in percent.
"""

import argparse
import time
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from studio.intonation.cents import measure_sounding
from tests.intonation.cents import tones

SIMPLE = (315.6, 386.3, 498.0, 590.2, 702.0, 813.7, 884.4, 1017.6, 1586.3)
OCTAVE = (1200.0,)


@dataclass(frozen=True)
class Row:
    """One set: what is played and what the room and the microphone do to it."""

    name: str
    sizes: tuple[float, ...]
    maker: Callable = tones.bowed_tone
    vibrato_cents: float = 0.0
    one_hand: bool = True
    snr_db: float = 30.0
    rt60_s: float = 0.4
    balance_db: float = 0.0


ROWS = (
    Row("steady", SIMPLE),
    Row("steady octaves", OCTAVE),
    Row("steady, 10 dB, 0.8 s room", SIMPLE, snr_db=10, rt60_s=0.8),
    Row("steady, one voice -12 dB", SIMPLE, balance_db=-12),
    Row("octaves, upper voice -12 dB", OCTAVE, balance_db=-12),
    Row("twelfths, double octaves", (1902.0, 2400.0)),
    Row("unisons", (0.0,)),
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
    size = float(rng.choice(row.sizes) + rng.uniform(-30, 30))
    low_hz = float(np.exp(rng.uniform(np.log(150), np.log(700))))
    duration, phase, rate = rng.uniform(0.6, 2.5), rng.uniform(0, 6.28), rng.uniform(4.5, 6.5)
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


def measure(row: Row, count: int, seed: int) -> str:
    """Measure one row and format its figures."""
    errors, stated, spent, played = [], [], 0.0, 0.0
    for i in range(count):
        mix = event(row, seed + i)
        sounding = tones.coarse(np.random.default_rng(seed + i), mix)
        begun = time.process_time()
        fit = measure_sounding(mix.y, mix.sr, sounding).intervals[0]
        spent += time.process_time() - begun
        played += mix.end_s - mix.start_s
        if fit.uncertainty_cents is not None:
            errors.append(abs(fit.size_cents - abs(tones.true_size(mix))))
            stated.append(fit.uncertainty_cents)
    e, s = np.array(errors), np.array(stated)
    middle, p90, p95 = np.percentile(e, [50, 90, 95])
    return (
        f"{row.name:30} {count - len(e):4d} {middle:7.2f} {p90:7.2f} {p95:7.2f} {e.max():7.2f}"
        f" {np.median(s):8.2f} {100 * np.mean(e < s):8.0f} {100 * np.mean(e < 2 * s):8.0f}"
        f" {played / spent:8.0f}"
    )


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--events", type=int, default=60, help="double stops per row")
    parser.add_argument("--seed", type=int, default=50_000)
    options = parser.parse_args()
    print(f"{options.events} events per row, seeds from {options.seed}; cents")
    print(
        f"{'set':30} {'open':>4} {'median':>7} {'p90':>7} {'p95':>7} {'max':>7}"
        f" {'stated':>8} {'within 1':>8} {'within 2':>8} {'x real':>8}"
    )
    for row in ROWS:
        print(measure(row, options.events, options.seed), flush=True)


if __name__ == "__main__":
    main()
