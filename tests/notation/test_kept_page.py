"""A page from elsewhere keeps what it was; what is followed is what sounds of it.

The bars are our own, written by hand as MusicXML 4.0 (W3C final report 2021) has them.
"""

from xml.etree import ElementTree

import pytest

from studio.notation import Score
from studio.notation.engraving import Figure, engrave
from studio.notation.musicxml import only_bars, read_musicxml, to_musicxml
from studio.notation.musicxml.bars import playing_order
from studio.notation.score import NotAScore
from tests.notation.musicxml_schema import faults
from tests.notation.written_pages import foreign, note

REST = "<note><rest/><duration>2</duration><voice>1</voice><type>quarter</type></note>"
DYNAMICS = "<direction><direction-type><dynamics><mf/></dynamics></direction-type></direction>"
WORDS = "<direction><direction-type><words>dolce</words></direction-type></direction>"
TYPE = "<type>quarter</type>"


def marked(name: str, notations: str, **more) -> str:
    return note(name, 2, more=f"{TYPE}<notations>{notations}</notations>", **more)


def page() -> bytes:
    """A pickup and two bars."""
    slur = '<slur type="{0}" number="1"/>'
    bow = "<technical><up-bow/><fingering>2</fingering></technical>"
    first = note("G4", 2, more=TYPE)
    second = DYNAMICS + marked("Eb4", slur.format("start") + bow) + REST
    second += marked("F4", slur.format("stop")) + note("Ab4", 2, more=TYPE)
    third = WORDS + note("C4", 4, more="<type>half</type>") + note("G4", 4, chord=True)
    third += "<note><rest/><duration>4</duration><voice>1</voice></note>"
    data = foreign(first + "</measure><measure number='1'>" + second)
    data = data.replace(b"</measure></part>", f"</measure><measure number='2'>{third}".encode())
    data = data.replace(b'number="1"><attributes>', b'number="0" implicit="yes"><attributes>')
    return data.replace(b"</score-partwise>", b"</measure></part></score-partwise>")


def test_metre_rests_slurs_bowings_dynamics_fingers_words_and_bar_numbers_stay():
    score = read_musicxml(page()).score
    assert [item.bar for item in score.written] == [0, 1, 1, 1, 2]
    assert score.written[1].fingers == (2,)
    root = ElementTree.fromstring(to_musicxml(score))
    for path in (
        *("time/beats", "note/rest", "slur[@type='start']", "technical/up-bow", "dynamics/mf"),
        *("technical/fingering", "direction-type/words", "measure[@implicit='yes']"),
    ):
        assert root.find(f".//{path}") is not None, path
    assert faults(to_musicxml(score)) == []


def test_a_page_that_was_kept_is_stored_exported_and_read_again_the_same():
    score = read_musicxml(page()).score
    assert Score.from_dict(score.to_dict()) == score
    again = read_musicxml(to_musicxml(score).encode()).score
    assert [(i.id, i.pitches, i.bar, i.beats) for i in again.written] == [
        (i.id, i.pitches, i.bar, i.beats) for i in score.written
    ]
    assert to_musicxml(again) == to_musicxml(score)


def test_everything_written_is_reached_on_the_page_and_figures_stand_at_it():
    score = read_musicxml(page()).score
    figures = {item.id: Figure(8.0, "+8.0") for item in score.written}
    (svg,) = engrave(score, figures=figures)
    for item in score.written:
        assert f'data-ref="{item.id}"' in svg
    assert svg.count("+8.0") == len(score.written)


def test_a_span_of_bars_is_a_page_of_its_own_with_the_key_and_metre_in_force():
    score = only_bars(read_musicxml(page()).score, 2, 2)
    assert [item.bar for item in score.written] == [2]
    root = ElementTree.fromstring(to_musicxml(score))
    assert [measure.get("number") for measure in root.iter("measure")] == ["2"]
    assert root.findtext(".//key/fifths") == "-3"
    assert root.find(".//time").get("print-object") == "no"
    assert faults(to_musicxml(score)) == []
    with pytest.raises(NotAScore, match="the page has bars 0 to 2"):
        only_bars(read_musicxml(page()).score, 7, 9)


def test_a_slur_that_a_span_cuts_is_left_out_at_its_other_end():
    body = marked("G4", '<slur type="start" number="1"/>')
    body += "</measure><measure number='2'>" + marked("A4", '<slur type="stop" number="1"/>')
    score = only_bars(read_musicxml(foreign(body)).score, 2, 2)
    assert "<slur" not in to_musicxml(score)


def test_the_part_for_the_instrument_is_read_and_another_can_be_chosen():
    data = foreign(note("G4", 8)).replace(
        b"</part-list>",
        b'<score-part id="P2"><part-name>Viola</part-name></score-part></part-list>',
    )
    second = f'<part id="P2"><measure number="1">{note("C4", 4)}</measure></part>'
    data = data.replace(b"</score-partwise>", f"{second}</score-partwise>".encode())
    read = read_musicxml(data)
    assert [(part.id, part.name) for part in read.parts] == [("P1", "Violin"), ("P2", "Viola")]
    assert (read.part, read.score.instrument) == ("P1", "violin")
    assert read_musicxml(data, instrument="viola").part == "P2"
    chosen = read_musicxml(data, part="P2").score
    assert (chosen.instrument, str(chosen.written[0].pitches[0])) == ("viola", "C4")


def test_a_transposing_part_stands_as_it_sounds():
    """Written a major second too high: E flat major for D flat major."""
    move = "<attributes><transpose><diatonic>-1</diatonic><chromatic>-2</chromatic></transpose>"
    read = read_musicxml(foreign(note("Eb4", 4) + note("A4", 4), head=f"{move}</attributes>"))
    assert [str(item.pitches[0]) for item in read.score.written] == ["Db4", "G4"]
    assert "It stands here as it sounds." in read.remarks[0]


def test_what_is_not_followed_is_said_with_its_bar_and_stays_on_the_page():
    cue = note("B4", 2).replace("<note>", "<note><cue/>")
    quarter = note("F4", 2).replace("</step>", "</step><alter>0.5</alter>")
    jump = WORDS.replace("dolce", "D.C. al Fine")
    read = read_musicxml(foreign(note("G4", 2) + cue + quarter + note("A4", 2) + jump))
    assert [str(item.pitches[0]) for item in read.score.written] == ["G4", "A4"]
    said = " ".join(read.remarks)
    for words in ("Cue notes (bar 1)", "between the half tones (bar 1)", "D.C. or D.S. (bar 1)"):
        assert words in said
    assert to_musicxml(read.score).count("<pitch>") == 4


def test_an_artificial_harmonic_is_followed_two_octaves_above_its_stop():
    mark = "<harmonic><artificial/><{0}-pitch/></harmonic>"
    mark = f"<notations><technical>{mark}</technical></notations>"
    body = note("A3", 4, more=mark.format("base"))
    body += note("D4", 4, chord=True, more=mark.format("touching"))
    read = read_musicxml(foreign(body))
    assert [tuple(map(str, item.pitches)) for item in read.score.written] == [("A5",)]
    assert "Harmonics (bar 1) are followed as they sound." in read.remarks


def test_a_double_stop_beyond_a_hand_is_said():
    read = read_musicxml(foreign(note("G3", 4) + note("B3", 4, chord=True)))
    assert "No hand holds G3 with B3" in read.remarks[0]


def test_lengths_of_a_division_that_changes_within_a_part_are_no_false_double_stop():
    change = "</measure><measure number='2'><attributes><divisions>8</divisions></attributes>"
    score = read_musicxml(foreign(note("G4", 8) + change + note("A4", 16) + note("B4", 16))).score
    assert [(str(i.pitches[0]), i.beats) for i in score.written] == [
        ("G4", 4),
        ("A4", 2),
        ("B4", 2),
    ]


FORWARD = '<barline location="left"><repeat direction="forward"/></barline>'
BACK = '<barline location="right">{0}<repeat direction="backward"/></barline>'
ENDING = '<ending number="{0}" type="{1}"/>'


def bars(*bodies: str) -> ElementTree.Element:
    """A part of bars with these bar lines."""
    made = "".join(f"<measure number='{n}'>{body}</measure>" for n, body in enumerate(bodies, 1))
    return ElementTree.fromstring(f"<part id='P1'>{made}</part>")


@pytest.mark.parametrize(
    ("bodies", "order"),
    [
        (("", BACK.format(""), ""), [0, 1, 0, 1, 2]),
        (("", FORWARD, BACK.format(""), ""), [0, 1, 2, 1, 2, 3]),
        (
            (
                "",
                f'<barline location="left">{ENDING.format(1, "start")}</barline>'
                + BACK.format(ENDING.format(1, "stop")),
                f'<barline location="left">{ENDING.format(2, "start")}</barline>'
                f'<barline location="right">{ENDING.format(2, "discontinue")}</barline>',
                "",
            ),
            [0, 1, 0, 2, 3],
        ),
        ((BACK.format("").replace("/></b", ' times="3"/></b'), ""), [0, 0, 0, 1]),
    ],
    ids=["from the beginning", "from a sign", "two endings", "three times"],
)
def test_repeats_and_endings_are_unfolded_for_following(bodies, order):
    assert playing_order(bars(*bodies)) == order


def test_a_repeat_leads_back_on_a_page_that_stays_folded():
    body = note("G4", 8) + BACK.format("") + "</measure><measure number='2'>" + note("A4", 8)
    score = read_musicxml(foreign(body)).score
    assert [item.leads_to for item in score.written] == [("n1",), ()]
    assert to_musicxml(score).count("<measure ") == 2
