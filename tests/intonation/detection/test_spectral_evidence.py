"""Chords in tune are heard as their notes, not as a lower pitch they are multiples of."""

import numpy as np
import pytest

from studio.intonation.detection import find_soundings
from studio.intonation.detection.spectra import Spectra, analyse, frame_power
from studio.intonation.detection.spectral_evidence import unfolded
from tests.intonation.synth import SR, Note, cents, in_room, mix

FS = SR / 2


def played(f0_hz: list[float], seed: int = 3) -> np.ndarray:
    rng = np.random.default_rng(seed)
    notes = [Note(0.2, 1.4, f, rng.uniform(-3.0, 3.0)) for f in f0_hz]
    return in_room(rng, mix(rng, notes), 0.4)


def pooled(f0_hz: list[float]) -> Spectra:
    y = played(f0_hz)[int(0.4 * SR) : int(1.3 * SR) : 2].astype(np.float32)
    return analyse(frame_power(y, 512, FS).mean(axis=0)[None], FS)


def agree(found: np.ndarray, truth: list[float]) -> bool:
    return len(found) == len(truth) and all(
        abs(cents(f / t)) < 20.0 for f, t in zip(found, truth, strict=True)
    )


# The chord, what passes for it (its pitch so low that two notes are its 2nd and 3rd or 3rd and 4th
# partials): arithmetic.
CHORDS = {
    "sixth and fifth": ([242.6, 404.3, 606.5], [202.2, 242.6]),
    "sixths": ([196.0, 313.6, 470.4], [156.8, 196.0]),
    "fourth on top": ([158.9, 254.2, 406.8, 542.4], [135.6, 158.9, 254.2]),
}


@pytest.mark.parametrize("name", CHORDS)
def test_a_phantom_is_replaced_by_the_notes_it_stands_for(name):
    truth, misread = CHORDS[name]
    assert agree(unfolded(pooled(truth), 0, np.array(misread)), truth)


@pytest.mark.parametrize(
    "pair", [(196.0, 294.0), (202.2, 242.6), (220.0, 440.0), (146.7, 391.1), (440.0, 733.3)]
)
def test_notes_that_are_played_stay(pair):
    assert unfolded(pooled(list(pair)), 0, np.array(pair)).tolist() == list(pair)


@pytest.mark.parametrize("seed", [11, 12, 13])
def test_a_chord_held_together_is_heard_as_its_notes(seed):
    truth = [196.0, 326.7, 490.0]
    (heard,) = find_soundings(played(truth, seed), SR)
    assert agree(np.array([v.f0_hz for v in heard.voices]), truth)
