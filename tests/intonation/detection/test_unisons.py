"""One note on two strings: two voices where their beats can be told, one note elsewhere."""

import numpy as np
import pytest

from studio.intonation.detection import find_soundings, unisons
from studio.intonation.detection.resampling import Sound
from tests.intonation import synth
from tests.intonation.detection import scenes
from tests.intonation.detection.scenes import Conditions
from tests.intonation.synth import SR, Note

ROOM = Conditions(t60_s=0.4, snr_db=30.0)


def recorded(notes: list[Note], seed: int) -> np.ndarray:
    rng = np.random.default_rng([5100, seed])
    return scenes.as_recorded(rng, synth.mix(rng, notes), ROOM)


def beats_of(notes: list[Note], seed: int) -> tuple[unisons.Beats, np.ndarray]:
    sound = Sound(recorded(notes, seed), SR)
    return unisons.unison(sound, notes[0].start_s, notes[0].end_s, notes[0].f0_hz)


@pytest.mark.parametrize("off_cents", [15.0, 22.0, 30.0, 50.0], ids=lambda c: f"unison+{c:.0f}c")
@pytest.mark.parametrize("f0_hz", [262.0, 440.0, 590.0])
def test_a_mistuned_unison_is_two_voices_in_their_places(f0_hz: float, off_cents: float) -> None:
    upper = f0_hz * 2.0 ** (off_cents / 1200.0)
    notes = [Note(0.3, 1.6, f0_hz), Note(0.3, 1.6, upper, level_db=-3.0)]
    found = find_soundings(recorded(notes, round(off_cents)), SR)
    heard = max(found, key=lambda s: s.end_s - s.start_s)
    assert len(heard.voices) == 2
    assert heard.end_s - heard.start_s > 0.6  # slow beats may be taken for a new stroke
    for voice, true_hz in zip(heard.voices, (f0_hz, upper), strict=True):
        assert abs(synth.cents(voice.f0_hz / true_hz)) < 6.0


@pytest.mark.parametrize("vibrato_cents", [0.0, 12.0, 30.0])
def test_single_notes_show_no_beats_in_common(vibrato_cents: float) -> None:
    for seed, f0_hz in enumerate((247.0, 392.0, 466.0, 622.0)):
        found, _ = beats_of([Note(0.3, 1.5, f0_hz, vibrato_cents=vibrato_cents)], seed)
        assert not found.are_two_strings


@pytest.mark.parametrize("off_cents", [-40.0, -12.0, 15.0, 45.0])
def test_an_octave_out_of_tune_beats_in_its_even_partials_only(off_cents: float) -> None:
    for seed, f0_hz in enumerate((165.0, 262.0, 330.0)):
        upper = 2.0 * f0_hz * 2.0 ** (off_cents / 1200.0)
        found, _ = beats_of([Note(0.3, 1.5, f0_hz), Note(0.3, 1.5, upper)], seed)
        assert not found.are_two_strings


def test_what_the_length_cannot_resolve_stays_one_note() -> None:
    off = 6.0  # cents; 0.8 Hz at 230 Hz: a fifth of a turn while it lasts
    notes = [Note(0.3, 0.75, 230.0), Note(0.3, 0.75, 230.0 * 2.0 ** (off / 1200.0))]
    (heard,) = find_soundings(recorded(notes, 1), SR)
    assert len(heard.voices) == 1
