"""Drills made to order, for every key, interval, range, pair of strings and instrument."""

import itertools

import pytest

from studio.notation.generate import generate, is_feasible
from studio.notation.request import INTERVALS, PATTERNS, Infeasible, Request
from studio.notation.score import Score, Written
from studio.theory import ALL_KEYS, Key, interval_between
from studio.theory.fingers import MAX_EXTENSION_SEMITONES, fingers_apart

PAIRS = (None, (4, 3), (3, 2), (2, 1))
FINGERBOARD_SEMITONES = 24


def every_request():
    for instrument, key, interval, octaves, strings in itertools.product(
        ("violin", "viola"), ALL_KEYS, INTERVALS, (1, 2, 3), PAIRS
    ):
        yield Request(
            instrument=instrument,
            key=str(key),
            interval=interval,
            octaves=octaves,
            strings=strings,
            manner="together",
        )


def generated() -> list[tuple[Request, Score]]:
    made = []
    for request in every_request():
        if is_feasible(request):
            made.append((request, generate(request)))
    return made


@pytest.fixture(scope="module")
def drills():
    made = generated()
    assert len(made) > 1300, "most keys have most intervals"
    return made


def stops(item: Written, score: Score) -> tuple[int, ...]:
    strings = score.player.open_strings
    return tuple(
        pitch.midi - strings[len(strings) - number].midi
        for pitch, number in zip(item.pitches, item.strings, strict=True)
    )


def test_every_double_stop_lies_on_neighbouring_strings_within_the_fingerboard(drills):
    for request, score in drills:
        for item in score.written:
            low, high = item.strings
            assert low - high == 1, (request, item)
            assert request.strings in (None, (low, high))
            assert all(0 <= stop <= FINGERBOARD_SEMITONES for stop in stops(item, score))


def test_every_double_stop_is_fingered_by_the_relations(drills):
    for request, score in drills:
        for item in score.written:
            low, high = stops(item, score)
            assert [finger == 0 for finger in item.fingers] == [low == 0, high == 0]
            if low and high:
                assert abs(high - low) <= MAX_EXTENSION_SEMITONES
                assert item.fingers[1] - item.fingers[0] == fingers_apart(low, high), request


def test_every_double_stop_has_the_interval_s_letters_and_is_spelled_in_the_key(drills):
    for request, score in drills:
        key = Key.parse(request.key)
        for item in score.written:
            low, high = item.pitches
            assert interval_between(low, high).number == request.number
            assert key.contains(low), (request, item)
            assert key.contains(high), (request, item)


def test_every_scale_goes_up_its_octaves_and_comes_back_to_where_it_began(drills):
    for request, score in drills:
        lower = [item.pitches[0] for item in score.written]
        assert lower[0] == lower[-1]
        top = lower[7 * request.octaves]
        assert top.midi - lower[0].midi == 12 * request.octaves
        assert len(lower) == 14 * request.octaves + 1


def test_the_hand_shifts_exactly_where_it_says(drills):
    for _, score in drills:
        for before, after in itertools.pairwise(score.written):
            if before.position is not None and after.position is not None:
                assert after.shift == (before.position != after.position)


def test_what_cannot_be_played_comes_with_a_reason_and_with_what_can():
    count = 0
    for request in every_request():
        if is_feasible(request) or count > 40:
            continue
        count += 1
        with pytest.raises(Infeasible) as refused:
            generate(request)
        assert "no place" in refused.value.reason, refused.value.reason
        assert refused.value.nearest is not None
        assert generate(refused.value.nearest).written
    assert count


# Hand-worked fingerings; common practice, no source. (pitches, strings, fingers)
G_MAJOR_OCTAVES_ON_G_AND_D = [
    ("G3 G4", (4, 3), (0, 3)),
    ("A3 A4", (4, 3), (1, 4)),
    ("B3 B4", (4, 3), (1, 4)),
    ("C4 C5", (4, 3), (1, 4)),
    ("D4 D5", (4, 3), (1, 4)),
    ("E4 E5", (4, 3), (1, 4)),
    ("F#4 F#5", (4, 3), (1, 4)),
    ("G4 G5", (4, 3), (1, 4)),
]
G_MAJOR_SIXTHS = [
    ("G3 E4", (4, 3), (0, 1)),
    ("A3 F#4", (4, 3), (1, 2)),
    ("B3 G4", (4, 3), (2, 3)),
    ("C4 A4", (4, 3), (3, 4)),
    ("D4 B4", (3, 2), (0, 1)),
    ("E4 C5", (3, 2), (1, 2)),
    ("F#4 D5", (3, 2), (2, 3)),
    ("G4 E5", (3, 2), (3, 4)),
]
D_MAJOR_THIRDS = [
    ("D4 F#4", (4, 3), (3, 1)),  # second position, so that the next needs no shift
    ("E4 G4", (4, 3), (4, 2)),
    ("F#4 A4", (3, 2), (2, 0)),
    ("G4 B4", (3, 2), (3, 1)),
    ("A4 C#5", (3, 2), (4, 2)),
]


@pytest.mark.parametrize(
    ("asked", "worked"),
    [
        ({"interval": "octaves", "strings": (4, 3)}, G_MAJOR_OCTAVES_ON_G_AND_D),
        ({"interval": "sixths"}, G_MAJOR_SIXTHS),
        ({"interval": "thirds", "key": "D major", "start": 1}, D_MAJOR_THIRDS),
    ],
    ids=["octaves on two strings", "sixths", "thirds"],
)
def test_a_scale_is_fingered_as_worked_by_hand(asked, worked):
    score = generate(Request(direction="up", manner="together", **asked))
    found = [
        (" ".join(map(str, item.pitches)), item.strings, item.fingers) for item in score.written
    ]
    assert found[: len(worked)] == worked


def test_separately_then_together_writes_both_notes_before_the_double_stop():
    score = generate(Request(octaves=1, direction="up", playings=3, hold_s=2.5))
    for low, high, both in score.bars:
        assert (low.manner, high.manner, both.manner) == ("separate", "separate", "together")
        assert (*low.pitches, *high.pitches) == both.pitches
        assert (both.playings, both.hold_s) == (3, 2.5)
        assert low.playings == high.playings == 1


def test_melodic_minor_goes_up_raised_and_comes_down_natural():
    score = generate(Request(key="A minor", interval="sixths", manner="together", start=1))
    lower = [str(item.pitches[0])[:-1] for item in score.written]
    assert lower == ["A", "B", "C", "D", "E", "F#", "G#", "A", "G", "F", "E", "D", "C", "B", "A"]


def test_a_scale_begins_on_the_lowest_double_stop_that_lies_well_unless_it_was_stored_before():
    asked = Request(key="Bb major")
    assert str(generate(asked).written[0].pitches[0]) == "G3"
    assert Request.from_dict(asked.to_dict()) == asked
    stored = asked.to_dict()
    del stored["start"]  # as it is in every request from before there was a choice
    before = Request.from_dict(stored)
    assert before.to_dict() == stored
    assert str(generate(before).written[0].pitches[0]) == "Bb3"


@pytest.mark.parametrize("pattern", sorted(set(PATTERNS) - {"scale", "pairs"}))
def test_patterns_without_a_choice_of_start_are_stored_as_before(pattern):
    asked = Request(pattern=pattern, start=4)
    assert "start" not in asked.to_dict()
    assert Request.from_dict(asked.to_dict()) == asked == Request(pattern=pattern)


@pytest.mark.parametrize(
    ("asked", "title"),
    [
        ({"pattern": "mixed"}, "C harmonic minor: thirds, sixths and octaves"),
        ({"pattern": "one_string"}, "C harmonic minor on the D string, one octave"),
        ({"pattern": "fingered_octaves"}, "C harmonic minor in fingered octaves, one octave"),
    ],
)
def test_the_title_of_each_scale_says_which_minor(asked, title):
    assert generate(Request(key="C minor", minor="harmonic", **asked)).title == title


def test_harmonic_minor_keeps_its_seventh_raised():
    asked = Request(key="D minor", interval="octaves", minor="harmonic", manner="together", start=1)
    lower = [str(item.pitches[0])[:-1] for item in generate(asked).written]
    assert lower == ["D", "E", "F", "G", "A", "Bb", "C#", "D", "C#", "Bb", "A", "G", "F", "E", "D"]


def test_without_open_strings_every_note_is_stopped():
    score = generate(Request(interval="sixths", open_strings=False))
    assert all(finger != 0 for item in score.written for finger in item.fingers)


def test_one_finger_across_two_strings_is_a_fifth_after_the_open_fifth():
    score = generate(Request(pattern="one_finger", finger=2, key="D major", manner="together"))
    # C sharp and G, under the second finger on A and E, are no perfect fifth.
    assert [item.fingers for item in score.written] == [(0, 0), (2, 2)] * 2
    assert [str(pitch) for pitch in score.written[1].pitches] == ["B3", "F#4"]


def test_third_finger_check_is_an_octave_over_each_open_string():
    score = generate(Request(pattern="third_finger_check", instrument="viola", manner="together"))
    assert [" ".join(map(str, item.pitches)) for item in score.written] == [
        "C3 C4",
        "G3 G4",
        "D4 D5",
    ]
    assert all(item.fingers == (0, 3) for item in score.written)


@pytest.mark.parametrize("instrument", ["violin", "viola"])
@pytest.mark.parametrize("key", [str(key) for key in ALL_KEYS])
def test_chords_hold_their_middle_note_while_the_bow_goes_over(key, instrument):
    score = generate(Request(pattern="chords", key=key, instrument=instrument))
    pairs = [item for item in score.written if item.manner == "together"]
    assert len(pairs) >= 4
    for lower, upper in zip(pairs[::2], pairs[1::2], strict=True):
        assert lower.bar == upper.bar
        assert lower.pitches[1] == upper.pitches[0]
        assert lower.strings[1] == upper.strings[0]
        assert lower.fingers[1] == upper.fingers[0]


def test_a_stored_request_loads_back_the_same():
    request = Request(interval="tenths", key="Eb major", strings=(3, 2), hold_s=1.5)
    assert Request.from_dict(request.to_dict()) == request


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"interval": "elevenths"}, "unisons, thirds"),
        ({"octaves": 4}, "outside 1 to 3"),
        ({"strings": (4, 2)}, "not neighbours"),
        ({"key": "H major"}, "not a key"),
        ({"string_length_mm": 900.0}, "outside 150 to 450"),
    ],
)
def test_a_request_out_of_bounds_is_refused_with_the_bound(change, words):
    with pytest.raises(ValueError, match=words):
        Request(**change)
