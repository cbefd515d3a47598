"""The clip's A4 and its open strings, from notes whose tuning is known."""

import math
import random

import pytest

from studio.intonation import Options
from studio.intonation.estimation.reference_pitch import HeardNote, estimate
from studio.theory import Pitch


def notes(*played, a4_hz=440.0, uncertainty=0.5):
    """Notes from (names low to high, cents off for each); a double stop has two names."""
    found = []
    for number, (names, offs) in enumerate(played):
        offs = offs if isinstance(offs, tuple) else (offs,) * len(names.split())
        f0 = [
            Pitch.parse(name).frequency(a4_hz) * 2.0 ** (off / 1200.0)
            for name, off in zip(names.split(), offs, strict=True)
        ]
        for voice, f in enumerate(f0):
            others = tuple(f0[:voice] + f0[voice + 1 :])
            found.append(HeardNote(number, voice, f, uncertainty, 1.0, False, others))
    return found


def off_cents(a4_hz, expected_hz):
    return 1200.0 * math.log2(a4_hz / expected_hz)


SCALE = ["Bb3", "C4", "Eb4", "F4", "Bb4", "C5", "Eb5", "F5", "Bb5"]
SCALE_NOTES = [(name, 0.0) for name in SCALE]


@pytest.mark.parametrize("a4_hz", [431.0, 440.0, 441.3, 447.5])
def test_a4_is_found_from_stopped_notes(a4_hz):
    generator = random.Random(7)
    played = [(name, generator.gauss(0.0, 5.0)) for name in SCALE * 2]
    reference, strings = estimate(notes(*played, a4_hz=a4_hz), Options())
    assert reference.source == "notes"
    assert abs(off_cents(reference.a4_hz, a4_hz)) < 2.0 * reference.uncertainty_cents
    assert strings == ()


def test_badly_played_notes_do_not_pull_the_reference():
    played = [(name, 0.0) for name in SCALE] + [(name, 38.0) for name in SCALE[:4]]
    reference, _ = estimate(notes(*played, a4_hz=442.0), Options())
    assert abs(off_cents(reference.a4_hz, 442.0)) < 1.5


def test_open_strings_are_preferred_and_found_by_what_lies_beside_them():
    # A3 takes the G string, so D4 is open; the stopped notes are all 9 cents sharp.
    played = [
        ("A3 D4", (9.0, -2.0)),
        ("E4 A4", (9.0, 0.0)),
        ("Bb3", 9.0),
        ("C4", 9.0),
        ("G3", -3.9),
    ]
    reference, strings = estimate(notes(*played, *played, a4_hz=441.0), Options())
    assert reference.source == "open_strings"
    assert abs(off_cents(reference.a4_hz, 441.0)) < 1.5
    assert [string.pitch for string in strings] == ["G3", "D4"]


def test_a_check_of_the_open_strings_gives_them_all():
    # Played one by one, then in pure fifths from A (3:2): E +2.0, D -2.0, G -3.9 cents.
    off = {"G3": -3.91, "D4": -1.955, "A4": 0.0, "E5": 1.955}
    singles = [(name, off[name]) for name in ("A4", "D4", "G3", "E5")]
    fifths = [
        (f"{low} {high}", (off[low], off[high]))
        for low, high in (("D4", "A4"), ("G3", "D4"), ("A4", "E5"))
    ]
    reference, strings = estimate(notes(*singles, *fifths, a4_hz=441.0), Options())
    assert [string.pitch for string in strings] == ["G3", "D4", "A4", "E5"]
    assert reference.source == "open_strings"
    assert abs(off_cents(reference.a4_hz, 441.0)) < 1.0
    assert [round(s.deviation_cents) for s in strings] == [-4, -2, 0, 2]


def test_strings_in_pure_fifths_agree_on_one_a():
    # D = A / 1.5, G = D / 1.5 (arithmetic): 2.0 and 3.9 cents below equal temperament.
    played = [("A3 D4", (0.0, -1.955)), ("G3", -3.91), ("B3 D4", (0.0, -1.955)), ("G3", -3.91)]
    reference, strings = estimate(notes(*played), Options())
    assert abs(off_cents(reference.a4_hz, 440.0)) < 1.5
    assert all(abs(string.deviation_cents) < 6.0 for string in strings)


def test_a_mistuned_string_is_found_and_left_out_of_the_reference():
    played = [(name, 0.0) for name in SCALE] + [("A3 D4", (0.0, -18.0)), ("G3", -2.0)]
    played = [*played, *played]
    reference, strings = estimate(notes(*played), Options())
    assert abs(off_cents(reference.a4_hz, 440.0)) < 3.0
    [d] = [string for string in strings if string.pitch == "D4"]
    assert d.deviation_cents == pytest.approx(-18.0, abs=3.0)


def test_notes_beside_a_stopped_one_that_do_not_keep_their_pitch_are_no_open_string():
    played = [(name, 0.0) for name in SCALE] + [("A3 D4", (0.0, -38.0))]
    _, strings = estimate(notes(*played), Options())
    assert strings == ()  # once is not enough
    played = [*played, *SCALE_NOTES, ("A3 D4", (0.0, -22.0))]
    _, strings = estimate(notes(*played), Options())
    assert strings == ()  # an open string would not have moved


def test_a_lonely_mistuned_string_does_not_drag_a_scale_along():
    played = [(name, 0.0) for name in SCALE] + [("A3 D4", (0.0, 22.0))]
    played = [*played, *played]
    reference, strings = estimate(notes(*played), Options())
    assert reference.source == "notes"
    assert strings[0].deviation_cents == pytest.approx(22.0, abs=2.0)


def test_a_pitch_that_returns_unchanged_is_taken_for_the_open_string():
    other = [("B4", 3.0), ("C5", -4.0), ("B4", -6.0), ("C5", 5.0)]
    played = [item for pair in zip([("A4", 1.0)] * 4, other, strict=True) for item in pair]
    _, strings = estimate(notes(*played), Options())
    assert [string.pitch for string in strings] == ["A4"]


def test_a_stopped_note_that_varies_is_not_taken_for_the_open_string():
    offs = [5.0, -6.0, 9.0, -2.0, 4.0]
    played = [item for off in offs for item in [("A4", off), ("B4", 0.0)]]
    _, strings = estimate(notes(*played), Options())
    assert strings == ()


def test_a_note_held_again_and_again_is_not_taken_for_the_open_string():
    played = [("A4", 12.0)] * 8 + [("B4", 0.0), ("C5", 0.0)]
    _, strings = estimate(notes(*played), Options())
    assert strings == ()


def test_a_given_a4_is_kept():
    reference, _ = estimate(notes(("A4", 0.0), a4_hz=440.0), Options(a4_hz=415.0))
    assert (reference.a4_hz, reference.uncertainty_cents, reference.source) == (415.0, 0.0, "given")


def test_open_strings_are_held_against_a_given_a4():
    _, strings = estimate(notes(("G3", 0.0), ("B3", 0.0), ("G3", 0.0)), Options(a4_hz=445.0))
    assert strings[0].deviation_cents == pytest.approx(off_cents(440.0, 445.0), abs=0.01)


def test_nothing_heard_is_440_assumed():
    reference, strings = estimate([], Options())
    assert (reference.a4_hz, reference.uncertainty_cents, reference.source) == (
        440,
        None,
        "assumed",
    )
    assert strings == ()
    assert estimate([], Options(a4_hz=442.0))[0].source == "given"
