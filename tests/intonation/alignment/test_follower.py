"""The follower knows how people practise: one test for each habit.

The habits are common practice, no source.
"""

from dataclasses import replace

import pytest

from studio.intonation import ExpectedNote
from studio.intonation.alignment import follow
from studio.intonation.model.measurement import Measurement
from tests.intonation.heard import Clip

PAIRS = [("G3", "G4"), ("A3", "A4"), ("B3", "B4"), ("C4", "C5"), ("D4", "D5"), ("E4", "E5")]
SIXTHS = [("Bb3", "G4"), ("C4", "A4"), ("D4", "Bb4"), ("Eb4", "C5"), ("F4", "D5"), ("G4", "Eb5")]


def together(pairs, **fields):
    """A drill of double stops only, one a bar."""
    return [
        ExpectedNote(pitches=pair, ref=f"t{bar}", bar=bar, **fields)
        for bar, pair in enumerate(pairs, start=1)
    ]


def broken(pairs, said=True):
    """Each bar: the low note, the high one, both together. Refs l1 h1 t1, l2 h2 t2 ..."""
    notes = []
    for bar, (low, high) in enumerate(pairs, start=1):
        manners = ("separate", "separate", "together") if said else (None,) * 3
        for ref, pitches, how in zip("lht", ((low,), (high,), (low, high)), manners, strict=True):
            notes.append(ExpectedNote(pitches=pitches, ref=f"{ref}{bar}", bar=bar, manner=how))
    return notes


def refs(clip, score):
    """The ref of each event; the state where it is not whole."""
    rows = follow(clip.done(), score).events
    return [f"{row.ref} {row.state}" if row.state != "whole" else row.ref for row in rows]


def states(clip, score):
    return {note.ref: note.state for note in follow(clip.done(), score).notes}


def play(clip, pairs, *bars):
    """Both notes separately, then together, for each bar number."""
    for bar in bars:
        low, high = pairs[bar - 1]
        clip.note(low).note(high).pair(low, high, 5)
    return clip


def test_a_drill_played_as_written_is_followed_note_by_note():
    score = broken(SIXTHS)
    assert refs(play(Clip(), SIXTHS, 1, 2, 3, 4, 5, 6), score) == [note.ref for note in score]


@pytest.mark.parametrize("playings", [1, 2, 7, 30])
def test_a_note_may_be_played_any_number_of_times(playings):
    clip = Clip().pair("Bb3", "G4")
    for number in range(playings):
        clip.pair("C4", "A4", 40 - number)
    clip.pair("D4", "Bb4")
    assert refs(clip, together(SIXTHS)) == ["t1", *["t2"] * playings, "t3"]


def test_a_bar_may_be_repeated():
    clip = play(Clip(), SIXTHS, 1, 2, 2, 3)
    found = refs(clip, broken(SIXTHS))
    assert found == [f"{which}{bar}" for bar in (1, 2, 2, 3) for which in "lht"]


def test_the_pupil_may_go_back_some_bars():
    clip = play(Clip(), SIXTHS, 1, 2, 3, 4, 2, 3, 4, 5)
    found = refs(clip, broken(SIXTHS))
    assert found == [f"{which}{bar}" for bar in (1, 2, 3, 4, 2, 3, 4, 5) for which in "lht"]


def test_the_pupil_may_begin_again_after_a_pause():
    clip = play(play(Clip(), SIXTHS, 1, 2, 3).silence(4.0), SIXTHS, 1, 2)
    assert refs(clip, broken(SIXTHS))[9:] == ["l1", "h1", "t1", "l2", "h2", "t2"]


def test_the_pupil_may_begin_in_the_middle():
    clip = play(Clip(), SIXTHS, 4, 5)
    assert refs(clip, broken(SIXTHS)) == ["l4", "h4", "t4", "l5", "h5", "t5"]
    assert states(clip, broken(SIXTHS))["t1"] == "not_reached"
    assert states(clip, broken(SIXTHS))["t6"] == "not_reached"


def test_a_bar_left_out_is_named_as_missed():
    score = broken(SIXTHS)
    clip = play(Clip(), SIXTHS, 1, 2, 4)
    assert refs(clip, score)[-3:] == ["l4", "h4", "t4"]
    missed = follow(clip.done(), score).missed
    assert [(note.ref, note.bar, note.pitches) for note in missed][-1] == ("t3", 3, ("D4", "Bb4"))
    assert [note.ref for note in missed] == ["l3", "h3", "t3"]


def test_who_practises_only_the_end_has_not_missed_the_middle():
    score = together(SIXTHS)
    found = states(Clip().pair("Bb3", "G4").pair("G4", "Eb5"), score)
    assert set(found.values()) == {"played", "not_reached"}


@pytest.mark.parametrize("corrected", [True, False])
def test_a_wrong_double_stop_is_named_with_what_was_expected(corrected):
    clip = Clip().pair("Bb3", "G4").pair("C4", "A4").pair("D4", "B4")
    if corrected:
        clip.pair("D4", "Bb4")
    clip.pair("Eb4", "C5")
    following = follow(clip.done(), together(SIXTHS))
    row = following.events[2]
    assert (row.state, row.ref) == ("wrong", "t3")
    assert (row.heard, row.expected) == (("D4", "B4"), ("D4", "Bb4"))
    assert following.notes[2].state == ("played" if corrected else "wrong")
    assert following.notes[2].wrong == (2,)


def test_a_wrong_single_note_is_named():
    clip = Clip().note("Bb3").note("G#4").note("G4").pair("Bb3", "G4").note("C4")
    assert refs(clip, broken(SIXTHS)) == ["l1", "h1 wrong", "h1", "t1", "l2"]


@pytest.mark.parametrize(
    ("tried", "written"),
    [(("A3", "F4"), ("B3", "G4")), (("B3",), ("A3",)), (("C4", "G4"), ("D4", "G4"))],
    ids=["both a whole tone low", "a note of the pair before", "one voice a whole tone low"],
)
def test_a_slip_put_right_at_once_is_named_for_the_note_it_was_on_the_way_to(tried, written):
    score = [
        ExpectedNote(pitches=pitches, ref=ref, bar=bar)
        for bar, (ref, pitches) in enumerate(
            [("before", ("B3", "D5")), ("right", written), ("after", ("C4", "E5"))], start=1
        )
    ]
    clip = Clip().pair("B3", "D5")
    for pitches in (tried, written):
        clip.note(*pitches) if len(pitches) == 1 else clip.pair(*pitches)
    rows = follow(clip.pair("C4", "E5").done(), score).events
    assert [(row.ref, row.state) for row in rows] == [
        ("before", "whole"),
        ("right", "wrong"),
        ("right", "whole"),
        ("after", "whole"),
    ]
    assert rows[1].heard == tried
    assert rows[1].expected == written


@pytest.mark.parametrize(
    "wait", [1.2, 0.0], ids=["after a rest", "among notes that are not the drill's"]
)
def test_what_was_tried_out_before_a_note_is_no_slip(wait):
    clip = Clip().pair("Bb3", "G4").silence(1.2)
    if not wait:
        clip.note("F#5").note("C#6")
    clip.pair("Eb4", "C5").silence(wait).pair("F4", "D5")
    states = [row.state for row in follow(clip.done(), together([SIXTHS[0], SIXTHS[4]])).events]
    assert "wrong" not in states
    assert states[-2:] == ["extra", "whole"]


def test_a_voice_heard_an_octave_off_is_no_wrong_note():
    clip = Clip().pair("Bb3", "G4").pair("C4", "A5", size=2100.0).pair("D4", "Bb4")
    rows = follow(clip.done(), together(SIXTHS)).events
    assert (rows[1].state, rows[1].ref, rows[1].voices) == ("part", "t2", (0, None))


def test_an_uncorrected_wrong_single_note_is_named():
    clip = Clip().note("Bb3").note("G#4").pair("Bb3", "G4").note("C4")
    assert refs(clip, broken(SIXTHS)) == ["l1", "h1 wrong", "t1", "l2"]


def test_notes_that_are_not_the_drills_are_extra():
    clip = Clip().pair("Bb3", "G4").note("E5").note("C#6").pair("C4", "A4")
    assert refs(clip, together(SIXTHS)) == ["t1", "None extra", "None extra", "t2"]


def test_short_doubtful_sounds_in_a_pause_are_extra():
    clip = Clip().pair("Bb3", "G4").silence(2.0)
    for name in ("F#3", "C#4", "A3"):
        clip.note(name, length=0.2, confidence=0.4)
    clip.silence(1.0).pair("C4", "A4")
    assert refs(clip, together(SIXTHS)) == ["t1", *["None extra"] * 3, "t2"]


def test_notes_played_separately_belong_to_a_double_stop_written_alone():
    clip = play(Clip(), SIXTHS, 1, 2)
    assert refs(clip, together(SIXTHS)) == [
        *("t1 part", "t1 part", "t1"),
        *("t2 part", "t2 part", "t2"),
    ]
    following = follow(clip.done(), together(SIXTHS))
    assert (following.notes[0].playings, following.notes[0].parts) == ((2,), (0, 1))


def test_only_the_notes_of_a_double_stop_are_not_the_double_stop():
    clip = Clip().pair("Bb3", "G4").note("C4").note("A4").pair("D4", "Bb4")
    assert states(clip, together(SIXTHS))["t2"] == "apart"


def test_separate_notes_left_out_are_not_missed_where_their_double_stop_was_played():
    clip = Clip().pair("Bb3", "G4").pair("C4", "A4").pair("D4", "Bb4")
    found = states(clip, broken(SIXTHS))
    assert [found[ref] for ref in ("l2", "h2", "t2")] == ["together", "together", "played"]


def test_what_is_separate_is_found_where_the_page_does_not_say():
    clip = Clip().pair("Bb3", "G4").pair("C4", "A4").pair("D4", "Bb4")
    assert states(clip, broken(SIXTHS, said=False)) == states(clip, broken(SIXTHS))


def test_a_tune_before_a_double_stop_is_not_its_separate_notes():
    tune = [("C4",), ("E4",), ("G4",), ("C4", "A4")]
    score = [ExpectedNote(pitches=p, ref=f"n{k}", bar=1) for k, p in enumerate(tune, start=1)]
    found = states(Clip().note("C4").note("G4").pair("C4", "A4"), score)
    assert found == {"n1": "played", "n2": "missed", "n3": "played", "n4": "played"}


def test_an_octave_heard_as_one_note_is_its_double_stop():
    clip = Clip().note("G3").note("G4").note("G3").note("A3").note("A4").pair("A3", "A4")
    assert refs(clip, broken(PAIRS)) == ["l1", "h1", "t1 part", "l2", "h2", "t2"]


def test_a_doubtful_octave_is_read_as_the_drill_asks():
    clip = Clip().note("G3").note("G4")
    clip.note("G3", doubt="octave_or_single", other=("G3", "G4")).note("A3")
    row = follow(clip.done(), broken(PAIRS)).events[2]
    assert (row.ref, row.state, row.reading, row.voices) == ("t1", "whole", 1, (0, 1))


def test_a_double_stop_cut_in_two_is_two_events_of_one_note():
    clip = Clip().pair("Bb3", "G4").note("C4", length=0.2).pair("C4", "A4").pair("C4", "A4")
    assert refs(clip, together(SIXTHS)) == ["t1", "t2 part", "t2", "t2"]


def test_a_string_that_rings_along_does_not_lose_the_note():
    clip = Clip().pair("Bb3", "G4")._add([("C4", 0), ("A4", 0), ("E5", 0)], None).pair("D4", "Bb4")
    row = follow(clip.done(), together(SIXTHS)).events[1]
    assert (row.ref, row.state, row.voices) == ("t2", "whole", (0, 1, None))


def test_a_chord_may_be_played_as_lower_and_upper_pair():
    score = [
        ExpectedNote(pitches=("G3", "D4", "B4"), ref="c1", bar=1),
        ExpectedNote(pitches=("A3", "E4", "C5"), ref="c2", bar=2),
    ]
    clip = Clip().pair("G3", "D4").pair("D4", "B4").pair("A3", "E4").pair("E4", "C5")
    rows = follow(clip.done(), score).events
    assert [row.ref for row in rows] == ["c1", "c1", "c2", "c2"]
    assert [row.voices for row in rows] == [(0, 1), (1, 2), (0, 1), (1, 2)]


@pytest.mark.parametrize("off", [-55, -30, 30, 55])
def test_a_note_far_out_of_tune_is_still_the_note(off):
    clip = Clip().pair("Bb3", "G4").pair("C4", "A4", off).pair("D4", "Bb4")
    assert refs(clip, together(SIXTHS)) == ["t1", "t2", "t3"]


def test_a_scale_up_and_down_is_told_apart_by_where_one_is():
    way = [*SIXTHS, *SIXTHS[-2::-1]]
    score = together(way)
    clip = Clip()
    for pair in way:
        clip.pair(*pair)
    assert refs(clip, score) == [note.ref for note in score]


def test_a_score_without_refs_and_bars_is_followed_by_place():
    score = [ExpectedNote(pitches=pair) for pair in SIXTHS]
    clip = Clip().pair("Bb3", "G4").pair("D4", "Bb4")
    assert [row.note for row in follow(clip.done(), score).events] == [0, 2]


def test_nothing_heard_reaches_nothing():
    following = follow(Measurement(), together(SIXTHS))
    assert following.events == ()
    assert {note.state for note in following.notes} == {"not_reached"}


def test_an_empty_score_is_refused():
    with pytest.raises(ValueError, match="0 expected notes"):
        follow(Clip().note("A4").done(), [])


def test_following_changes_nothing_and_repeats_itself():
    measurement = play(Clip(), SIXTHS, 1, 2, 2, 3).done()
    before = measurement.to_dict()
    assert follow(measurement, broken(SIXTHS)) == follow(measurement, broken(SIXTHS))
    assert measurement.to_dict() == before


def test_repeats_and_endings_are_followed_where_the_page_leads():
    """First ending in bar 3, second in bar 4; the repeat is left out the second time through."""
    score = [
        replace(note, leads_to={"t2": ("t4",), "t3": ("t1",)}.get(note.ref, ()))
        for note in together(SIXTHS[:5])
    ]
    clip = Clip()
    for bar in (1, 2, 3, 1, 2, 4, 5):
        clip.pair(*SIXTHS[bar - 1])
    assert refs(clip, score) == [f"t{bar}" for bar in (1, 2, 3, 1, 2, 4, 5)]
    clip = Clip()
    for bar in (1, 2, 4, 5):
        clip.pair(*SIXTHS[bar - 1])
    assert states(clip, score)["t3"] == "not_reached"
