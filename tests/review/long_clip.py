"""A quarter of an hour of practice with two thousand heard events, made up without sound.

Runs of octaves, sixths and thirds up and down the scale: the two notes one by one, then together
two to four times, each time a little closer. The figures come from a seed, so that every run of
a test or a benchmark works on the same clip.
"""

import random
from itertools import islice

from studio.intonation import Measurement
from studio.theory import frequency_of_midi

DURATION_S = 900.0
EVENTS = 2000
A4_HZ = 440.0
SEED = 20
TRACK_STEP_S = 0.05  # as the engine stores a voice's pitch
SCALE = (55, 57, 59, 60, 62, 64, 66, 67, 69, 71)  # G3 and up, in semitones (MIDI)
PAIRS = ((12, 1200.0), (9, 884.359), (4, 386.314))  # semitones and just size: octave, sixth, third
NAMES = ("C", "C#", "D", "Eb", "E", "F", "F#", "G", "G#", "A", "Bb", "B")


def long_measurement(count: int = EVENTS, duration_s: float = DURATION_S) -> dict:
    """The stored form of a measurement of ``count`` events that fill ``duration_s``."""
    chance = random.Random(SEED)
    events: list[dict] = []
    for number, (kind, voices, size) in enumerate(islice(_practice(chance), count)):
        start_s = number * duration_s / count
        events.append(_event(number, kind, start_s, 0.9 * duration_s / count, voices, size, chance))
    stored = {
        "schema": 1,
        "engine": "1.0.0",
        "source": {"duration_s": duration_s, "sample_rate_hz": 22050},
        "options": {"instrument": "violin"},
        "reference": {"a4_hz": A4_HZ, "uncertainty_cents": 0.5, "source": "notes"},
        "open_strings": [],
        "events": events,
    }
    return Measurement.from_dict(stored).to_dict()


def _practice(chance: random.Random):
    """Kind, voices as (MIDI, cents) and size in cents of one event after the other, without end."""
    place = 0
    while True:
        low = SCALE[place % len(SCALE)]
        semitones, just = PAIRS[place // len(SCALE) % len(PAIRS)]
        place += 1
        for note in (low, low + semitones):
            yield "single", [(note, 0.0)], None
        off = chance.gauss(0.0, 18.0)
        for _ in range(chance.choice((2, 3, 4))):
            cents = just + off - 100.0 * semitones  # of the upper voice, from equal temperament
            yield "double_stop", [(low, 0.0), (low + semitones, cents)], just + off
            off *= 0.7


def _event(number, kind, start_s, length_s, voices, size, chance) -> dict:
    heard = {"low": 0, "high": 1, "size_cents": size, "uncertainty_cents": 0.6, "lock": 0.9}
    return {
        "id": number,
        "kind": kind,
        "start_s": start_s,
        "end_s": start_s + length_s,
        "voices": [_voice(midi, cents, start_s, length_s, chance) for midi, cents in voices],
        "intervals": [heard | {"landing_size_cents": size}] if size is not None else [],
        "confidence": 0.99,
        "quality": {"snr_db": 30.0, "clipped": False},
    }


def _voice(midi: int, cents: float, start_s: float, length_s: float, chance) -> dict:
    f0_hz = frequency_of_midi(midi, A4_HZ) * 2 ** (cents / 1200)
    steps = int(length_s / TRACK_STEP_S) + 1
    return {
        "midi": midi,
        "pitch": f"{NAMES[midi % 12]}{midi // 12 - 1}",
        "f0_hz": f0_hz,
        "uncertainty_cents": 0.5,
        "landing_f0_hz": f0_hz,
        "start_s": start_s,
        "end_s": start_s + length_s,
        "track": {
            "start_s": start_s,
            "step_s": TRACK_STEP_S,
            "cents": [round(chance.gauss(0.0, 4.0), 1) for _ in range(steps)],
        },
    }
