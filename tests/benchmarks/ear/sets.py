"""The test sets by name. A clip is told by set, number and seed: the same is the same sound."""

from collections.abc import Callable
from dataclasses import dataclass
from zlib import crc32

import numpy as np

from tests.benchmarks.ear import controls, pairs, playing, vibrato_notes
from tests.benchmarks.ear.degrade import CHANGES
from tests.benchmarks.ear.material import Material
from tests.benchmarks.ear.pairs import Pairs
from tests.intonation.estimation import tones

OCTAVE = ("octave",)
SIMPLE = tuple(size for size in pairs.SIZES if size != "octave")
RECORDED_HZ = (196.0, 620.0)  # where the recorded notes reach, their upper voice too
WANDERS = (0.5, 1.0, 2.0, 4.0)  # about 0.85 of it is a standard deviation of the pitch
VIBRATO = (5.0, 10.0, 15.0, 20.0, 30.0)

# (a) added up from partials, in a room with noise
MADE = (
    Pairs("made, 30 dB"),
    Pairs("made, 12 dB", snr_db=12.0),
    Pairs("made, octaves, 30 dB", sizes=OCTAVE),
    Pairs("made, octaves, 12 dB", sizes=OCTAVE, snr_db=12.0),
    Pairs("made, viola", low_hz=(130.8, 392.0), instrument="viola"),
    Pairs("made, high", low_hz=(700.0, 1250.0)),
    Pairs("made, short (0.25 to 0.6 s)", length_s=(0.25, 0.6)),
    Pairs("made, one voice -12 dB", balance_db=-12.0),
    Pairs("made, room of 1 s", rt60_s=1.0),
    *(
        Pairs(f"made, wanders by {c:g} c", sizes=SIMPLE, length_s=(0.6, 3.0), wander_cents=c)
        for c in WANDERS
    ),
    Pairs("made, unisons", sizes=("unison",), length_s=(0.8, 2.0)),
)
# (b) recorded notes
RECORDED = (
    Pairs("recorded notes", tones.real_note, low_hz=RECORDED_HZ, snr_db=25.0),
    Pairs("recorded octaves", tones.real_note, OCTAVE, RECORDED_HZ, snr_db=25.0),
)
OWN_VIBRATO = Pairs(
    "recorded, own vibrato", vibrato_notes.voice, low_hz=RECORDED_HZ, snr_db=25.0, rt60_s=0.3
)
# (c) what is degraded: half made, half recorded
BASES = (Pairs("made"), Pairs("recorded", tones.real_note, low_hz=RECORDED_HZ))
# (d) vibrato of one hand, on both notes
SHAKEN = (
    *(Pairs(f"vibrato {c:.0f} c", sizes=SIMPLE, vibrato_cents=c) for c in VIBRATO),
    Pairs("vibrato 15 c, octaves", sizes=OCTAVE, vibrato_cents=15.0),
    Pairs("vibrato 15 c, two rates", sizes=SIMPLE, vibrato_cents=15.0, one_hand=False),
)


@dataclass(frozen=True, slots=True)
class TestSet:
    """Clips of one condition. ``group``: a to f, as in the table; ``full``, ``quick``: how many."""

    __test__ = False  # not a test of pytest's

    group: str
    name: str
    make: Callable[[np.random.Generator, int], Material]
    full: int
    quick: int
    stream: str = ""  # sets that share one make the same playing

    def count(self, share: float) -> int:
        """How many clips make up ``share`` of the full run; never fewer than the quick one's."""
        return max(self.quick, round(share * self.full))

    def clip(self, number: int, seed: int) -> Material:
        """Clip ``number`` of the set."""
        stream = crc32((self.stream or self.name).encode())
        return self.make(np.random.default_rng([seed, stream, number]), number)


def _pairs(group: str, which: Pairs, full: int, quick: int) -> TestSet:
    return TestSet(group, which.condition, lambda rng, _: pairs.material(which, rng), full, quick)


def _changed(change: str) -> TestSet:
    def make(rng: np.random.Generator, number: int) -> Material:
        return pairs.changed(BASES[number % 2], rng, change, f"{number}")

    return TestSet("c", change, make, 10, 2, stream="degraded")


def _scales() -> list[TestSet]:
    return [
        TestSet(
            "e",
            f"{interval}, {instrument}",
            lambda rng, _, i=interval, k=instrument: playing.scale(i, k, rng),
            6 if instrument == "violin" else 3,
            1 if instrument == "violin" or interval == "octaves" else 0,
        )
        for instrument, keys in (("violin", playing.KEYS), ("viola", playing.VIOLA_KEYS))
        for interval in keys
    ]


def _controls() -> list[TestSet]:
    lines = [
        TestSet("f", which, lambda rng, _, w=which: controls.line(w, rng), 12, 2)
        for which in controls.LINES
    ]
    sounds = [
        TestSet("f", which, lambda rng, _, w=which: controls.sound(w, rng), 6, 1)
        for which in controls.SOUNDS
    ]
    return [*lines, *sounds]


def all_sets() -> list[TestSet]:
    """Every set, a to f."""
    large = {"made, 30 dB": (40, 5), "recorded notes": (24, 4)}
    many = {"made, octaves, 30 dB": (16, 2), "recorded octaves": (16, 2), "made, 12 dB": (16, 2)}
    counts = large | many
    return [
        *(_pairs("a", which, *counts.get(which.condition, (8, 1))) for which in MADE),
        *(_pairs("b", which, *counts.get(which.condition, (8, 1))) for which in RECORDED),
        _pairs("b", OWN_VIBRATO, 16, 0),
        *(_changed(change) for change in CHANGES),
        *(_pairs("d", which, 10, 1) for which in SHAKEN),
        *_scales(),
        *_controls(),
    ]


def named(name: str) -> TestSet:
    """The set called ``name``."""
    return {each.name: each for each in all_sets()}[name]
