"""One playing heard in pieces becomes one again; what was really played stays."""

import numpy as np
import pytest

from studio.intonation.detection.merging import mended, rejoined
from studio.intonation.model.sounding import EventFit, Sounding, SoundingVoice, VoiceFit
from studio.theory import VIOLIN, Pitch

STRINGS = VIOLIN.open_strings


def heard(names, start_s, end_s, confidence=0.95, off=0.0):
    voices = tuple(
        SoundingVoice(Pitch.parse(name).frequency() * 2.0 ** (off / 1200.0), start_s, end_s)
        for name in names.split()
    )
    return Sounding(start_s, end_s, voices, confidence)


def spans(*soundings):
    return [(s.start_s, s.end_s, len(s.voices)) for s in mended(soundings, STRINGS)]


def test_an_unlikely_moment_inside_a_playing_is_mended():
    pieces = [
        heard("Bb3 Bb4", 4.7, 5.1),
        heard("Bb3 F6", 5.1, 5.6, 0.59),
        heard("Bb3 Bb4", 5.6, 6.2, off=4.0),
    ]
    assert spans(*pieces) == [(4.7, 6.2, 2)]
    [one] = mended(pieces, STRINGS)
    assert [(v.start_s, v.end_s) for v in one.voices] == [(4.7, 6.2), (4.7, 6.2)]


def test_two_moments_in_one_playing_are_mended():
    pieces = [
        heard("Bb3 Bb4", 1.0, 1.5),
        heard("Bb3 F6", 1.5, 1.7),
        heard("Bb3 Bb4", 1.7, 2.2),
        heard("Bb3", 2.2, 2.4, 0.55),
        heard("Bb3 Bb4", 2.4, 3.0),
    ]
    assert spans(*pieces) == [(1.0, 3.0, 2)]


def test_a_note_that_was_clearly_played_between_stays():
    pieces = [
        heard("Bb3 Bb4", 1.0, 1.5),
        heard("Bb3 G4", 1.5, 2.0),
        heard("Bb3 Bb4", 2.0, 2.5),
    ]
    assert len(spans(*pieces)) == 3


def test_a_pause_or_another_note_is_not_mended():
    paused = [
        heard("Bb3 Bb4", 1.0, 1.5),
        heard("Bb3 F6", 1.7, 2.0, 0.59),
        heard("Bb3 Bb4", 2.0, 2.5),
    ]
    assert len(spans(*paused)) == 3
    moved = [
        heard("Bb3 Bb4", 1.0, 1.5),
        heard("Bb3 F6", 1.5, 2.0, 0.59),
        heard("C4 C5", 2.0, 2.5),
    ]
    assert len(spans(*moved)) == 3
    long = [
        heard("Bb3 Bb4", 1.0, 1.5),
        heard("Bb3 F6", 1.5, 2.5, 0.59),
        heard("Bb3 Bb4", 2.5, 3.0),
    ]
    assert len(spans(*long)) == 3


def test_a_fragment_that_touches_its_playing_is_part_of_it():
    assert spans(heard("D4 D5", 18.1, 18.4), heard("D4 D5", 18.4, 19.7, off=3.0)) == [
        (18.1, 19.7, 2)
    ]
    assert spans(heard("D4 D5", 1.0, 2.0), heard("D4 D5", 2.0, 2.3)) == [(1.0, 2.3, 2)]


def test_playings_of_a_like_length_or_with_a_breath_between_stay_apart():
    assert len(spans(heard("D4 D5", 1.0, 1.3), heard("D4 D5", 1.3, 1.6))) == 2
    assert len(spans(heard("D4 D5", 1.0, 2.0), heard("D4 D5", 2.0, 2.6))) == 2
    assert len(spans(heard("D4 D5", 1.0, 2.0), heard("D4 D5", 2.2, 2.5))) == 2


def test_single_notes_are_left_alone():
    pieces = [heard("Bb3", 1.0, 1.5), heard("Bb3 F6", 1.5, 1.7, 0.5), heard("Bb3", 1.7, 2.0)]
    assert len(spans(*pieces)) == 3
    assert spans() == []


def fitted(sounding, off=0.0):
    nothing = np.zeros(0)
    voices = tuple(
        VoiceFit(
            voice.f0_hz * 2.0 ** (off / 1200.0),
            0.3,
            None,
            -20.0,
            None,
            None,
            None,
            nothing,
            nothing,
        )
        for voice in sounding.voices
    )
    return EventFit(voices, ())


@pytest.mark.parametrize(
    ("gap_s", "moved", "joined"),
    [
        (0.0, 0.5, True),  # the bow changed
        (0.1, 3.5, True),
        (0.18, 0.5, True),
        (0.18, 2.0, False),  # a short breath, and the fingers moved a little
        (0.0, 8.0, True),  # corrected in mid-bow
        (0.0, 20.0, False),  # placed anew without a breath: a new playing
        (0.35, 0.0, False),  # played again
    ],
)
def test_pieces_whose_fingers_did_not_move_are_one_playing(gap_s, moved, joined):
    first, second = heard("F4 F5", 1.0, 1.5), heard("F4 F5", 1.5 + gap_s, 2.5 + gap_s)
    measured = []

    def measure(sounding):
        measured.append((sounding.start_s, sounding.end_s))
        return fitted(sounding)

    fits = [fitted(first), fitted(second, moved)]
    soundings, kept = rejoined([first, second], fits, measure)
    assert len(soundings) == len(kept) == (1 if joined else 2)
    assert measured == ([(1.0, 2.5 + gap_s)] if joined else [])


def test_single_notes_and_other_double_stops_are_not_rejoined():
    for pair in (
        [heard("A4", 1.0, 1.5), heard("A4", 1.5, 2.0)],
        [heard("F4 F5", 1.0, 1.5), heard("G4 G5", 1.5, 2.0)],
        [heard("F4 F5", 1.0, 1.5), heard("F4", 1.5, 2.0)],
    ):
        soundings, _ = rejoined(pair, [fitted(s) for s in pair], fitted)
        assert soundings == pair
