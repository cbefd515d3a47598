"""A lower instrument than was told is said, not heard as half of itself."""

import numpy as np
import pytest

from studio.intonation import Measurement, Options, listen
from tests.intonation import synth
from tests.intonation.synth import SR, Note, midi_hz


def _line(midis: list[int], seed: int = 5) -> np.ndarray:
    """Single notes of 0.7 s by an instrument whose body carries its lowest notes."""
    rng = np.random.default_rng(seed)
    y = np.zeros(int((0.3 + 0.75 * len(midis) + 0.5) * SR))
    for n, midi in enumerate(midis):
        start_s = 0.2 + 0.75 * n
        note = Note(start_s, start_s + 0.7, midi_hz(midi))
        stroke = synth.bowed_note(rng, note, lambda hz: np.zeros_like(hz))
        first = int(start_s * SR)
        y[first : first + len(stroke)] += stroke
    y = synth.with_noise(rng, synth.in_room(rng, y, 0.4), 30.0)
    return 0.5 * y / np.max(np.abs(y))


def test_a_viola_heard_as_a_violin_is_said():
    below = listen(_line([48, 50, 52, 53, 55, 57, 60]), SR, Options()).below_range
    assert below is not None
    assert below.notes >= 3
    assert below.lowest_hz == pytest.approx(midi_hz(48), rel=0.02)


def test_a_cello_heard_as_a_viola_is_said():
    heard = listen(_line([36, 38, 40, 41, 43, 45]), SR, Options(instrument="viola"))
    assert heard.below_range is not None
    assert heard.below_range.lowest_hz < 90.0


@pytest.mark.parametrize(
    ("instrument", "midis"),
    [("violin", [55, 57, 62, 64, 69, 74]), ("viola", [48, 50, 55, 57, 62])],
)
def test_an_instrument_on_its_own_strings_is_not(instrument, midis):
    heard = listen(_line(midis), SR, Options(instrument=instrument))
    assert heard.below_range is None
    assert heard.to_dict()["below_range"] is None


def test_it_is_stored_and_loaded():
    heard = listen(_line([48, 50, 52, 53]), SR, Options())
    assert Measurement.from_dict(heard.to_dict()).below_range == heard.below_range
