"""A page that does not suit the pupil's instrument is said before it is set, with a way out."""

import re
from dataclasses import replace
from urllib.parse import parse_qs, urlsplit

import pytest

from studio.accounts.models import Instrument
from studio.drills.models import Assignment
from studio.drills.services import add_drill, add_made
from studio.drills.suitability import misfit_of
from studio.notation import Request, Score, Written, generate
from studio.theory import Pitch
from tests.cast import as_person, make_drill

pytestmark = pytest.mark.django_db

VIOLIN = Request(key="A major", interval="sixths", octaves=2, start=1)
NOT_FOR_HER = "is for the violin, and {pupil} plays the viola: its strings and fingers do not fit."


@pytest.fixture
def made(cast):
    return add_made(cast.studio, cast.teacher, VIOLIN, generate(VIOLIN))


@pytest.fixture
def violist(cast):
    """The cast's pupil, who plays the viola."""
    Instrument.objects.filter(pupil=cast.pupil).update(kind="viola", string_length_mm=360)
    return cast.enrolment


def page(*notes: tuple[str, int], instrument: str = "violin") -> Score:
    """Single notes with their fingers, a bar each."""
    return Score(
        title="Notes",
        instrument=instrument,
        written=tuple(
            Written(id=f"n{bar}", pitches=(Pitch.parse(name),), fingers=(finger,), bar=bar)
            for bar, (name, finger) in enumerate(notes, 1)
        ),
    )


def drill_of(cast, score: Score):
    drill = add_drill(
        cast.studio, cast.teacher, title="Notes", words="Slowly", score=score.to_dict()
    )
    return drill.newest()


def test_a_violin_drill_does_not_suit_a_viola_and_can_be_made_for_it(cast, made, violist):
    found = misfit_of(made.newest(), violist)
    assert found.sentences[0].endswith(NOT_FOR_HER.format(pupil=cast.pupil.name))
    assert re.fullmatch(
        r"Bar \d+ is on the E string, which the viola has not\.", found.sentences[1]
    )
    asked = parse_qs(found.remake)
    assert asked["instrument"] == ["viola"]
    assert asked["string_length_mm"] == ["360"]
    assert asked["pupil"] == [str(violist.pk)]
    assert asked["key"] == ["A major"]


def test_a_viola_drill_lies_below_a_violin(cast):
    asked = replace(VIOLIN, instrument="viola", string_length_mm=None, key="C major")
    drill = add_made(cast.studio, cast.teacher, asked, generate(asked))
    said = " ".join(misfit_of(drill.newest(), cast.enrolment).sentences)
    assert "on the C string, which the violin has not." in said
    assert "C3 in bar 1 lies below the violin’s lowest string, G3." in said


@pytest.mark.parametrize(
    ("notes", "said"),
    [
        ([("A4", 1), ("F3", 1)], "F3 in bar 2 lies below the violin’s lowest string, G3."),
        ([("A7", 4)], "A7 in bar 1 lies beyond the end of the violin’s fingerboard."),
        ([("A4", 0), ("B4", 0)], "B4 in bar 2 is written as an open string, and the violin has"),
    ],
)
def test_a_page_for_the_same_instrument_that_it_cannot_play(cast, notes, said):
    found = misfit_of(drill_of(cast, page(*notes)), cast.enrolment)
    assert any(sentence.startswith(said) for sentence in found.sentences)
    assert found.remake == ""


def test_what_suits_and_what_cannot_be_known_is_not_spoken_of(cast, made):
    assert misfit_of(made.newest(), cast.enrolment) is None
    assert misfit_of(make_drill(cast.teacher, cast.studio).newest(), cast.enrolment) is None
    Instrument.objects.all().delete()
    assert misfit_of(made.newest(), cast.enrolment) is None


def ways(cast, drill, violist) -> dict[str, tuple[str, dict]]:
    """Each way to set a drill of the shelf: its address and what it posts."""
    return {
        "its page": (f"/drills/{drill.pk}/set/", {"pupil": violist.pk}),
        "the pupil's page": (f"/pupils/{violist.pk}/drills/", {"drill": drill.pk}),
    }


@pytest.mark.parametrize("way", ["its page", "the pupil's page"])
def test_it_is_said_before_it_is_set_and_can_be_set_all_the_same(cast, made, violist, way):
    address, post = ways(cast, made, violist)[way]
    client = as_person(cast.teacher)
    answer = client.post(address, post | {"goal": "Still hands"})
    html = answer.content.decode()
    assert answer.status_code == 422
    assert NOT_FOR_HER.format(pupil=cast.pupil.name) in html
    assert "Make it for the viola" in html
    assert "Still hands" in html  # what was written is kept
    assert not Assignment.objects.exists()
    name = re.search(r'name="all_the_same"\s+value="([^"]+)"', html)[1]
    assert client.post(address, post | {"all_the_same": name}).status_code == 302
    assert Assignment.objects.get().version == made.newest()


def test_what_was_confirmed_for_one_drill_does_not_hold_for_another(cast, made, violist):
    other = add_made(
        cast.studio, cast.teacher, replace(VIOLIN, key="D major"), generate(VIOLIN), title="D"
    )
    name = misfit_of(made.newest(), violist).name
    address = f"/pupils/{violist.pk}/drills/"
    answer = as_person(cast.teacher).post(address, {"drill": other.pk, "all_the_same": name})
    assert answer.status_code == 422
    assert not Assignment.objects.exists()


def test_it_is_said_as_soon_as_the_pupil_is_chosen(cast, made, violist):
    html = as_person(cast.teacher).get(f"/drills/{made.pk}/?for={violist.pk}").content.decode()
    assert NOT_FOR_HER.format(pupil=cast.pupil.name) in html
    html = as_person(cast.teacher).get(f"/drills/{made.pk}/").content.decode()
    assert "Set it all the same" not in html


def test_the_way_out_makes_the_same_drill_for_the_viola(cast, made, violist):
    client = as_person(cast.teacher)
    html = client.get(f"/drills/{made.pk}/?for={violist.pk}").content.decode()
    way = re.search(r'href="(/drills/make/\?[^"]+)">Make it for', html)[1].replace("&amp;", "&")
    assert "A major in sixths, two octaves" in client.get(way).content.decode()
    asked = {name: values[0] for name, values in parse_qs(urlsplit(way).query).items()}
    drill = client.post("/drills/make/", asked).url.split("/")[2]
    answer = client.post(f"/drills/{drill}/set/", {"pupil": violist.pk})
    assert answer.status_code == 302
    assert Assignment.objects.get().version.instrument == "viola"
