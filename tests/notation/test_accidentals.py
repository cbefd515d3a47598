"""Signs before the notes: drawn as an independent reader asks for them, and read as written.

The awkward bars are this project's own. What a sign does is common practice, no source.
"""

import pytest
from hypothesis import given, settings

from studio.drills.sheets import leaves
from studio.notation import NotAScore, Request, Score, Written, generate
from studio.notation.accidentals import with_accidentals
from studio.notation.musicxml import read_musicxml, to_musicxml
from studio.notation.score import Accidental
from studio.theory import Pitch
from tests.notation.accidentals_read import drawn, faults_of, played, written
from tests.notation.musicxml_schema import faults
from tests.notation.written_pages import drill, foreign, note, requests

SIGNS = {"flat-flat": "bb", "flat": "b", "natural": "n", "sharp": "#", "double-sharp": "x"}
SHORT = {"double-flat": "bb", "flat": "b", "natural": "n", "sharp": "#", "double-sharp": "x"}

# A page's bars (a double stop's notes joined by +), and the signs that are to stand there: a dash
# where none does, in round brackets where it is a courtesy.
AWKWARD = {
    "melodic minor, up and down in one bar": (
        "A minor",
        "E4 F#4 G#4 A4 G4 F4 E4",
        "- # # - n n -",
    ),
    "melodic minor, up in one bar and down in the next": (
        "A minor",
        "E4 F#4 G#4 A4 | G4 F4 E4 D4 | F4 G4",
        "- # # - | (n) (n) - - | - -",
    ),
    "melodic minor in double stops, one a bar": (
        "A minor",
        "F#4+F#5 | G#4+G#5 | A4+A5 | G4+G5 | F4+F5 | G4+G5",
        "#+# | #+# | -+- | (n)+(n) | (n)+(n) | -+-",
    ),
    "the raised sixth in a key with flats": (
        "G minor",
        "D4 E4 F#4 G4 | F4 Eb4 D4",
        "- n # - | (n) (b) -",
    ),
    "chromatic neighbours": (
        "C major",
        "C5 C#5 D5 D#5 E5 Eb5 D5 Db5 C5",
        "- # - # - b n b n",
    ),
    "a neighbour that comes back": ("D major", "F#4 F4 F#4 F#4 F4", "- n # - n"),
    "another octave": ("C major", "F#4 F5 F#5 F4", "# (n) # n"),
    "another octave, the same sign": ("C major", "F#4 F#5 F#4 F#5", "# # - -"),
    "another octave in the bar before": ("C major", "Bb3 A3 | B4 B3", "b - | (n) (n)"),
    "one courtesy a bar": ("C major", "F#5 F4 F#5 F4 F4", "# (n) - - -"),
    "a sign ends with its bar": ("C major", "G#4 G#4 | G#4", "# - | #"),
    "two bars later nothing is said": ("C major", "G#4 A4 | A4 B4 | G4 A4", "# - | - - | - -"),
    "seven flats": ("Cb major", "C4 C#4 Cb4 Fb4 F4 | Fb4 Bb4 Bbb4 Bb4", "n # b - n | (b) - bb b"),
    "a double sharp": ("G# minor", "E#4 F##4 G#4 F#4 | F#4 E4", "# x - # | - (n)"),
    "a double flat": ("Eb minor", "Cb5 Bbb4 Bb4 | Bbb4 Ab4 Bb4", "- bb b | bb - b"),
    "both notes of a double stop": ("C major", "F#4+A4 F#4+C#5 | F4+C5", "#+- -+# | (n)+(n)"),
    "an octave in one double stop": ("C major", "C#4+C#5 C4+C5 C#4+C5", "#+# n+n #+(n)"),
    "a drone below its lowered octave": (
        "Ab major",
        "Db5 D4 D4+Db5 D4 | Ab3+Db5 D4",
        "- n (n)+(b) (n) | -+- n",
    ),
    "a drone beside its lowered neighbour": ("Db major", "Db4+D4 D4 C4+D4", "b+n n -+-"),
    "an altered octave together": ("C major", "F4+F#5", "(n)+#"),
    "both notes of a unison": ("A minor", "G#4+G#4 G4+G4", "#+# n+n"),
    "a semitone on one line": ("C major", "F4+F#4 F4 F#4+A4", "n+# n #+-"),
    "no key": (None, "Bb4 B4 F#4", "b n #"),
}


def page(key: str | None, bars: str) -> Score:
    items = []
    for number, bar in enumerate(bars.split("|"), 1):
        for names in bar.split():
            pitches = tuple(Pitch.parse(name) for name in names.split("+"))
            manner = "together" if len(pitches) > 1 else "alone"
            ref = f"n{len(items) + 1}"
            items.append(Written(id=ref, pitches=pitches, bar=number, manner=manner))
    return Score(title="Bars", instrument="violin", key=key, written=tuple(items))


def shown(score: Score) -> str:
    """The signs as the table writes them."""

    def one(sign: Accidental | None) -> str:
        if sign is None:
            return "-"
        return f"({SIGNS[sign.kind]})" if sign.marks == ("cautionary",) else SIGNS[sign.kind]

    bars = with_accidentals(score).bars
    return " | ".join(
        " ".join("+".join(map(one, item.accidentals)) for item in bar) for bar in bars
    )


@pytest.mark.parametrize(("key", "bars", "signs"), AWKWARD.values(), ids=AWKWARD)
def test_awkward_bars_have_the_signs_that_practice_asks_for(key, bars, signs):
    assert shown(page(key, bars)) == signs


@pytest.mark.parametrize(("key", "bars", "signs"), AWKWARD.values(), ids=AWKWARD)
def test_awkward_bars_are_drawn_as_they_are_written_and_read_so(key, bars, signs):
    score = page(key, bars)
    found = drawn(score)
    kinds = [
        SIGNS[sign.kind] if sign else "-"
        for item in with_accidentals(score).written
        for sign in item.accidentals
    ]
    names = [name for item in score.written for name in item.note_ids]
    assert [SHORT.get(found.get(name, ""), "-") for name in names] == kinds
    assert played(score, found) == written(score)


def test_the_reader_of_pages_misses_a_sign_that_is_not_drawn():
    score = page("A minor", "F#4 G#4")
    found = drawn(score)
    del found["n1"]
    assert played(score, found) != written(score)


@given(requests)
@settings(max_examples=20)
def test_every_sign_of_a_drill_is_drawn_as_an_independent_reader_asks(request):
    assert faults_of(drill(request)) == []


def test_a_sign_that_is_missing_or_too_much_is_found():
    score = generate(Request(key="A minor", manner="together", direction="up"))
    signs = drawn(score)
    assert {"n6-0", "n6-1", "n7-0", "n7-1"} == set(signs)
    assert faults_of(score, {name: sign for name, sign in signs.items() if name != "n6-1"})
    assert faults_of(score, signs | {"n1-0": "natural"})
    assert faults_of(score, signs | {"n6-0": "double-sharp"})


@pytest.mark.parametrize("octaves", [1, 2])
@pytest.mark.parametrize("interval", ["octaves", "thirds", "sixths"])
def test_the_way_down_of_a_melodic_minor_scale_has_its_naturals(interval, octaves):
    """Each line and space that was raised on the way up and then comes lower, once."""
    request = Request(key="A minor", octaves=octaves, manner="together", interval=interval)
    raised, lower, natural = set(), set(), []
    for item in with_accidentals(generate(request)).written:
        for pitch, sign in zip(item.pitches, item.accidentals, strict=True):
            place = pitch.step, pitch.octave
            if sign == Accidental("sharp"):
                raised.add(place)
            elif place in raised:
                lower.add(place)
            if sign == Accidental("natural", ("cautionary",)):
                natural.append(place)
    assert sorted(natural) == sorted(lower)
    assert len(lower) >= 2 * octaves


def test_signs_that_reach_over_the_end_of_a_leaf_are_the_same_as_on_one_page():
    score = generate(Request(key="G# minor", octaves=2, interval="sixths"))
    whole = drawn(score)
    cut = leaves(with_accidentals(score), 12)
    assert len(cut) > 5
    assert {name: sign for leaf in cut for name, sign in drawn(leaf).items()} == whole


def test_signs_are_written_to_the_file_with_their_courtesy_and_are_valid():
    document = to_musicxml(page("A minor", "G#4 A4 | G4"))
    assert faults(document) == []
    assert "<accidental>sharp</accidental>" in document
    assert '<accidental cautionary="yes">natural</accidental>' in document


def signed(name: str, sign: str, **marks: str) -> str:
    said = "".join(f' {mark}="{value}"' for mark, value in marks.items())
    return note(name, 2, more=f"<type>quarter</type><accidental{said}>{sign}</accidental>")


def test_signs_that_a_file_has_are_kept_with_what_is_particular_about_them():
    body = (
        signed("E4", "natural", cautionary="yes", parentheses="yes")
        + signed("F#4", "sharp", editorial="yes")
        + note("F#4", 2)
        + signed("G4", "natural")
    )
    score = read_musicxml(foreign(body)).score
    kept = [str(item.accidentals[0] or "") for item in score.written]
    assert kept == ["natural cautionary parentheses", "sharp editorial", "", "natural"]
    assert Score.from_dict(score.to_dict()) == score
    assert list(drawn(score).values()) == ["natural", "sharp", "natural"]
    assert read_musicxml(to_musicxml(score).encode()).score == score


def test_signs_that_a_file_lacks_are_added_where_they_are_needed_and_only_there():
    """The page has a sign of its own, so that its courtesy is its own."""
    body = note("F#4", 2) + signed("B4", "natural") + note("F#4", 2) + note("F5", 2)
    score = read_musicxml(foreign(body)).score
    assert shown(score) == "# n - -"


def test_a_page_without_any_sign_gets_all_of_them():
    body = note("F#4", 2) + note("B4", 2) + note("F4", 2) + note("Bb4", 2)
    score = read_musicxml(foreign(body)).score
    assert shown(score) == "# n n b"
    assert not any(sign for item in score.written for sign in item.accidentals)


def test_a_sign_that_contradicts_its_note_is_not_kept():
    """Quarter tones, and signs that say another pitch than the file does."""
    body = signed("F#4", "quarter-sharp") + signed("G4", "sharp") + signed("A4", "nonsense")
    score = read_musicxml(foreign(body)).score
    assert shown(score) == "# - n"


def test_a_change_of_key_in_the_file_stands_on_the_page():
    change = "</measure><measure number='2'><attributes><key><fifths>2</fifths></key></attributes>"
    body = note("Eb4", 8) + change + note("F#4", 4) + note("E4", 4)
    score = read_musicxml(foreign(body)).score
    assert score.key == "C minor"
    assert drawn(score) == {}
    assert played(score, {}, {2: 2}) == written(score)


def test_a_note_tied_over_a_bar_line_is_written_again_with_its_tie_and_needs_no_sign_again():
    tie = '<tie type="{0}"/>'
    bar = "<backup><duration>8</duration></backup>"
    body = (
        held("F#4", 8, tie.format("start"))
        + bar
        + note("C5", 8, voice=2)
        + "</measure><measure number='2'>"
        + held("F#4", 8, tie.format("stop"))
        + bar
        + note("D5", 8, voice=2)
    )
    score = read_musicxml(foreign(body)).score
    assert shown(score) == "#+- | -+-"
    assert [item.tied for item in score.written] == [(False, False), (True, False)]
    assert played(score, drawn(score)) == written(score)


def held(name: str, duration: int, tie: str) -> str:
    return note(name, duration).replace("<voice>", f"{tie}<voice>")


@pytest.mark.parametrize("sign", ["loud", "", "sharp loud", "sharp parentheses cautionary"])
def test_a_sign_that_is_not_known_is_refused(sign):
    with pytest.raises(NotAScore):
        Accidental.parse(sign)


def test_a_sign_before_another_pitch_is_refused():
    with pytest.raises(NotAScore, match="a flat cannot stand before G4"):
        Written(id="n1", pitches=(Pitch.parse("G4"),), bar=1, accidentals=(Accidental("flat"),))
