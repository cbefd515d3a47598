"""Clips that ask one question each: the test set for *which notes, and when*.

A scene is a function of a random generator that returns a clip, its sample rate and its truth.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from tests.intonation import synth
from tests.intonation.synth import SR, Note, TrueSounding


@dataclass(frozen=True)
class Scene:
    """A clip with its truth; ``kinds`` names what each true sounding is, for the tables."""

    y: np.ndarray
    truth: list[TrueSounding]
    kinds: list[str]


@dataclass(frozen=True)
class Conditions:
    """Where and how it was recorded."""

    t60_s: float = 0.4
    snr_db: float = 30.0
    codec: str | None = None
    kbps: int = 64
    real: bool = False


def random_conditions(rng: np.random.Generator) -> Conditions:
    """Return a phone recording: room of 0.3 to 1 s, noise at 10 to 30 dB."""
    return Conditions(rng.uniform(0.3, 1.0), rng.uniform(10.0, 30.0))


def recorded(
    rng: np.random.Generator, notes: list[Note], where: Conditions, kinds: Callable[..., str]
) -> Scene:
    """Play, place in the room, record."""
    real = synth.RealNotes() if where.real else None
    y = as_recorded(rng, synth.mix(rng, notes, real=real, tail_s=0.8), where)
    truth = synth.truth_of(notes)
    return Scene(y, truth, [kinds(t) for t in truth])


def as_recorded(rng: np.random.Generator, y: np.ndarray, where: Conditions) -> np.ndarray:
    y = synth.with_noise(rng, synth.in_room(rng, y, where.t60_s), where.snr_db)
    y *= rng.uniform(0.1, 0.8) / np.max(np.abs(y))
    return synth.through_codec(y, where.codec, where.kbps) if where.codec else y


def kind_of(t: TrueSounding) -> str:
    """Name a sounding by its size: "single", an interval, "chord"."""
    if len(t.f0s_hz) == 1:
        return "single"
    if len(t.f0s_hz) > 2:
        return "chord"
    size = synth.cents(t.f0s_hz[1] / t.f0s_hz[0])
    return min(synth.SIZES, key=lambda s: abs(synth.SIZES[s] - size))


def pairs(rng: np.random.Generator, where: Conditions, vibrato_cents: float = 0.0) -> Scene:
    """Five double stops of random size, apart from each other."""
    low, high = (55.0, 72.0) if where.real else (48.0, 76.0)
    notes, at = [], 0.3
    for _ in range(5):
        size = str(rng.choice(list(synth.SIZES)))
        length = rng.uniform(0.5, 1.5)
        pair = synth.random_pair(rng, size, low, high)
        notes += synth.double_stop(rng, pair, at, length, vibrato_cents=vibrato_cents)
        at += length + rng.uniform(0.15, 0.5)
    return recorded(rng, notes, where, kind_of)


def octaves(rng: np.random.Generator, where: Conditions) -> Scene:
    """Five octaves, mistuned by up to 60 cents."""
    low, high = (55.0, 72.0) if where.real else (48.0, 76.0)
    notes, at = [], 0.3
    for _ in range(5):
        length = rng.uniform(0.5, 1.5)
        f0 = synth.midi_hz(rng.uniform(low, high))
        off = float(rng.choice([1.0, -1.0]) * rng.choice([0, 2, 6, 10, 15, 25, 40, 60]))
        pair = (f0, f0 * 2.0 ** (1.0 + off / 1200.0))
        vibrato = float(rng.choice([0.0, 0.0, 15.0]))
        notes += synth.double_stop(rng, pair, at, length, vibrato_cents=vibrato)
        at += length + rng.uniform(0.15, 0.5)

    def kind(t: TrueSounding) -> str:
        off = abs(synth.cents(t.f0s_hz[-1] / t.f0s_hz[0]) - 1200.0)
        return f"octave {'beyond' if off > 4.0 else 'within'} 4 c"

    return recorded(rng, notes, where, kind)


def line(rng: np.random.Generator, where: Conditions, legato: bool = True) -> Scene:
    """A single line, legato or detached, some of it with vibrato: nothing sounds double."""
    low, high = (55.0, 86.0) if where.real else (48.0, 91.0)
    notes, at, midi = [], 0.3, rng.uniform(low + 5.0, high - 12.0)
    for _ in range(8):
        length = rng.uniform(0.3, 1.2)
        midi = float(np.clip(midi + rng.choice([-7, -4, -2, -1, 1, 2, 3, 5, 7]), low, high))
        off = rng.uniform(-0.2, 0.2)
        vibrato = float(rng.choice([0.0, 0.0, 12.0, 30.0]))
        notes.append(Note(at, at + length, synth.midi_hz(midi + off), vibrato_cents=vibrato))
        at += length - 0.02 if legato else length + rng.uniform(0.08, 0.4)
    return recorded(rng, notes, where, lambda t: "single")


def scale(rng: np.random.Generator, where: Conditions) -> Scene:
    """Degrees of a scale: lower alone, upper alone, together one to three times, corrected."""
    size = str(rng.choice(["octave", "major sixth", "minor third", "major tenth", "fourth"]))
    low = 55.0 if where.real else 50.0
    start, notes, at = rng.uniform(low, 66.0), [], 0.3
    for step in (0.0, 2.0, 4.0, 5.0)[: 3 if size == "octave" else 4]:
        f0 = synth.midi_hz(start + step + rng.uniform(-0.15, 0.15))
        upper = f0 * 2.0 ** (synth.SIZES[size] / 1200.0)
        at = _alone(rng, notes, (f0, upper), at)
        off = rng.uniform(-40.0, 40.0)
        for _ in range(int(rng.integers(1, 4))):
            length = rng.uniform(0.6, 1.4)
            pair = (f0, upper * 2.0 ** (off / 1200.0))
            notes += synth.double_stop(rng, pair, at, length)
            at += length + rng.uniform(0.08, 0.4)
            off *= rng.uniform(0.1, 0.8)
    return recorded(rng, notes, where, kind_of)


def _alone(
    rng: np.random.Generator, notes: list[Note], pair: tuple[float, float], at: float
) -> float:
    for f0 in pair:
        length = rng.uniform(0.4, 0.9)
        notes.append(Note(at, at + length, f0, rng.uniform(-2.0, 2.0)))
        at += length + float(rng.choice([0.0, 0.06, 0.2]))
    return at


def joining(rng: np.random.Generator, where: Conditions) -> Scene:
    """One note begins, the other joins while it is held; one ends before the other."""
    notes, at = [], 0.3
    for _ in range(3):
        pair = synth.random_pair(rng, str(rng.choice(list(synth.SIZES))), 50.0, 72.0)
        lead, both = rng.uniform(0.5, 1.0), rng.uniform(0.6, 1.3)
        order = int(rng.integers(2))
        notes.append(Note(at, at + lead + both, pair[order], rng.uniform(-2.0, 2.0)))
        notes.append(Note(at + lead, at + lead + both, pair[1 - order], rng.uniform(-2.0, 2.0)))
        at += lead + both + rng.uniform(0.15, 0.4)
    return recorded(rng, notes, where, kind_of)


def repeats(rng: np.random.Generator, where: Conditions) -> Scene:
    """The same double stop again and again; short gaps; pitch moved by up to 60 cents."""
    pair = synth.random_pair(rng, str(rng.choice(list(synth.SIZES))), 50.0, 72.0)
    notes, at = [], 0.3
    for _ in range(5):
        length = rng.uniform(0.5, 1.2)
        moved = (
            pair[0] * 2.0 ** (rng.uniform(-8.0, 8.0) / 1200.0),
            pair[1] * 2.0 ** (rng.uniform(-40.0, 40.0) / 1200.0),
        )
        notes += synth.double_stop(rng, moved, at, length, spread_db=4.0)
        at += length + float(rng.choice([0.05, 0.1, 0.2, 0.4]))
    return recorded(rng, notes, where, lambda t: "repeat")


def held(rng: np.random.Generator, where: Conditions) -> Scene:
    """Long double stops whose upper note slides by up to 50 cents, swells, or shakes: one each."""
    notes, at = [], 0.3
    for _ in range(2):
        pair = synth.random_pair(rng, str(rng.choice(list(synth.SIZES))), 50.0, 72.0)
        length = rng.uniform(2.0, 3.5)
        stop = synth.double_stop(
            rng, pair, at, length, vibrato_cents=float(rng.choice([0.0, 15.0, 30.0]))
        )
        begin, slide = rng.uniform(0.4, 1.0), rng.uniform(-50.0, 50.0)
        bend = ((0.0, 0.0), (begin, 0.0), (begin + rng.uniform(0.15, 0.6), slide))
        notes += [stop[0], replace(stop[1], glide=bend)]
        at += length + rng.uniform(0.3, 0.5)
    return recorded(rng, notes, where, lambda t: "held")


def chords(rng: np.random.Generator, where: Conditions) -> Scene:
    """Chords of three or four notes: held together, or lower pair then upper pair."""
    notes, at = [], 0.3
    for _ in range(3):
        root = synth.midi_hz(rng.uniform(50.0, 60.0) if not where.real else rng.uniform(55.0, 60.0))
        steps = [0.0, *np.cumsum(rng.choice([702.0, 884.4, 813.7, 498.0], 3))]
        tones = [root * 2.0 ** (s / 1200.0) for s in steps[: int(rng.integers(3, 5))]]
        length = rng.uniform(0.7, 1.3)
        if rng.random() < 0.5:
            notes += [Note(at, at + length, f, rng.uniform(-2.0, 2.0)) for f in tones]
            at += length + rng.uniform(0.2, 0.4)
        else:
            notes += [Note(at, at + 0.5 * length, f) for f in tones[:2]]
            notes += [Note(at + 0.5 * length, at + 1.3 * length, f) for f in tones[-2:]]
            at += 1.3 * length + rng.uniform(0.2, 0.4)
    return recorded(rng, notes, where, kind_of)


QUICK_SIZES = tuple(size for size in synth.SIZES if size not in ("octave", "ninth"))
OPEN_SHARE = 0.3  # of notes that are open strings, which ring longest


def quick(rng: np.random.Generator, where: Conditions, pairs_share: float = 0.5) -> Scene:
    """Twelve quick strokes of one bow, single notes and double stops, whatever was left ringing."""
    low, high = (55.0, 70.0) if where.real else (48.0, 76.0)
    notes, at = [], 0.3
    for _ in range(12):
        length = rng.uniform(0.15, 0.6)
        pair = synth.random_pair(rng, str(rng.choice(QUICK_SIZES)), low, high)
        pair = pair if rng.random() < pairs_share else pair[:1]
        notes += one_stroke(rng, pair, at, length)
        at += length + float(rng.choice([0.0, 0.0, 0.02, 0.06]))
    return recorded(rng, notes, where, kind_of)


def one_stroke(
    rng: np.random.Generator, f0s_hz: tuple[float, ...], start_s: float, length_s: float
) -> list[Note]:
    """Return one or two notes drawn by one bow, which ring on as their strings do."""
    bow, tilt = int(rng.integers(2**31)), rng.uniform(-4.0, 4.0)
    levels = (0.0,) if len(f0s_hz) == 1 else (tilt, -tilt)
    return [
        Note(start_s, start_s + length_s, f0, level, bow=bow, rings_s=_rings_s(rng))
        for f0, level in zip(f0s_hz, levels, strict=True)
    ]


def _rings_s(rng: np.random.Generator) -> float:
    is_open = rng.random() < OPEN_SHARE
    return float(rng.uniform(0.8, 2.0) if is_open else rng.uniform(0.1, 0.35))


def quick_line(rng: np.random.Generator, where: Conditions) -> Scene:
    """Single notes of 0.12 to 0.35 s across the strings: what sounds together rings on."""
    low, high = (55.0, 86.0) if where.real else (50.0, 88.0)
    notes, at, midi = [], 0.3, rng.uniform(low + 6.0, high - 8.0)
    for _ in range(24):
        length = rng.uniform(0.12, 0.35)
        midi = float(
            np.clip(midi + rng.choice([-9, -7, -5, -4, -3, -2, 2, 3, 4, 5, 7, 9]), low, high)
        )
        notes += one_stroke(rng, (synth.midi_hz(midi + rng.uniform(-0.15, 0.15)),), at, length)
        at += length
    return recorded(rng, notes, where, lambda t: "single")


def pulse(rng: np.random.Generator, where: Conditions) -> Scene:
    """A melody of notes of 0.5 to 1.2 s over the string below, struck with it again and again."""
    low, high = (55.0, 64.0) if where.real else (50.0, 70.0)
    notes, at = [], 0.3
    lower = synth.midi_hz(rng.uniform(low, high))
    for _ in range(4):
        size = synth.SIZES[str(rng.choice(QUICK_SIZES))]
        upper = lower * 2.0 ** (size / 1200.0)
        for _ in range(int(rng.integers(1, 4))):
            length = rng.uniform(0.3, 0.7)
            notes += one_stroke(rng, (lower, upper), at, length)
            at += length + rng.uniform(0.0, 0.05)
        length = rng.uniform(0.3, 0.8)
        notes += one_stroke(rng, (upper,), at, length)
        at += length
    return recorded(rng, notes, where, kind_of)


def unisons(rng: np.random.Generator, where: Conditions) -> Scene:
    """Unisons on two strings, 8 to 50 cents apart."""
    notes, at = [], 0.3
    for _ in range(4):
        length = rng.uniform(0.8, 1.5)
        f0 = synth.midi_hz(rng.uniform(57.0, 76.0))
        pair = (f0, f0 * 2.0 ** (rng.uniform(8.0, 50.0) / 1200.0))
        notes += synth.double_stop(rng, pair, at, length, spread_db=4.0)
        at += length + rng.uniform(0.2, 0.5)
    return recorded(rng, notes, where, lambda t: "unison")


def controls(rng: np.random.Generator, where: Conditions) -> dict[str, np.ndarray]:
    """Sounds without any bow: each must give no double stop."""
    talk = synth.speech_like(rng, 8.0)
    piano = np.zeros(8 * SR)
    for at in np.arange(0.2, 6.5, 0.8):
        root = rng.uniform(55.0, 79.0)
        for step in (0.0, float(rng.choice([4.0, 7.0, 9.0, 12.0]))):
            struck = synth.piano_note(rng, synth.midi_hz(root + step), 1.4)
            first = round(at * SR)
            struck = struck[: len(piano) - first]
            piano[first : first + len(struck)] += struck
    sounds = {
        "speech": talk,
        "piano": piano,
        "metronome": synth.metronome(rng, 8.0),
        "noise": 0.1 * rng.standard_normal(8 * SR) * (1 + synth.smooth_noise(rng, 8 * SR, SR, 2)),
    }
    return {name: as_recorded(rng, y, where) for name, y in sounds.items()}
