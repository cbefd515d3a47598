"""Drills made to order on the page: preview, refusal with the nearest, and the shelf."""

import pytest
from django.utils import timezone

from studio.accounts.models import Instrument
from studio.drills.form_values import query_of
from studio.drills.making_choices import ASKS
from studio.drills.models import Drill, DrillVersion, ShelfSettings
from studio.notation import Request, generate
from studio.notation.request import PATTERNS
from tests.cast import as_person

ASKED = {
    "pattern": "scale",
    "interval": "sixths",
    "key": "E♭ major",
    "minor": "melodic",
    "octaves": "1",
    "direction": "up",
    "manner": "together",
    "playings": "2",
    "finger": "1",
    "open_strings": "on",
    "instrument": "violin",
}
# Two octaves of tenths on one pair of strings have no place anywhere.
IMPOSSIBLE = ASKED | {"interval": "tenths", "octaves": "3", "strings": "4-3"}


@pytest.fixture
def teacher(cast):
    return as_person(cast.teacher)


def page_of(answer) -> str:
    return answer.content.decode()


def test_a_drill_is_made_with_its_page_its_words_and_what_was_asked(cast, teacher):
    answer = teacher.post("/drills/make/", ASKED)
    drill = Drill.objects.get()
    assert answer.url == f"/drills/{drill.pk}/"
    version = drill.newest()
    request = Request(
        interval="sixths", key="Eb major", direction="up", manner="together", playings=2, start=1
    )
    assert version.page == generate(request)
    assert Request.from_dict(version.request) == request
    assert (version.title, version.interval, version.key, version.instrument, version.source) == (
        "E♭ major in sixths",
        "6",
        "E♭ major",
        "violin",
        DrillVersion.Source.GENERATED,
    )
    assert "together, 2 times" in version.words
    assert version.level == "first_steps"
    assert "<svg" in version.incipit


def test_own_title_words_level_and_tags_stand(teacher):
    said = {"title": "Morning sixths", "words": "As I showed you.", "tags": "warm-up"}
    teacher.post("/drills/make/", ASKED | said | {"level": "advanced"})
    version = DrillVersion.objects.get()
    assert (version.title, version.words, version.level) == (
        "Morning sixths",
        "As I showed you.",
        "advanced",
    )
    assert version.drill.tags == "warm-up"


def test_the_preview_is_a_part_of_the_page_and_changes_nothing(teacher):
    part = page_of(teacher.get("/drills/make/", ASKED, headers={"HX-Request": "true"}))
    assert "<html" not in part
    assert "E♭ major in sixths" in part
    assert 'data-ref="n1"' in part
    assert not Drill.objects.exists()


def test_what_cannot_be_played_says_why_and_leads_to_the_nearest(teacher):
    answer = teacher.get("/drills/make/", IMPOSSIBLE)
    page = page_of(answer)
    assert "tenths over three octaves and on the G and D strings: " in page
    nearest = answer.context["nearest_query"]
    assert "Make the nearest instead" in page
    again = teacher.get(f"/drills/make/?{nearest}")
    assert again.context["score"].title.startswith("E♭ major in tenths")
    assert teacher.post("/drills/make/", IMPOSSIBLE).status_code == 422
    assert not Drill.objects.exists()


def test_an_address_that_says_nothing_of_start_and_height_shows_what_it_makes(teacher):
    page = page_of(teacher.get("/drills/make/", ASKED))
    assert page.index('<option value="1">the tonic') < page.index("the lowest that lies well")
    assert page.index("as high as it goes") < page.index(">1st position")


def test_another_fingering_can_be_chosen_and_is_kept(teacher):
    asked = ASKED | {"interval": "octaves", "key": "A major", "octaves": "2"}
    offered = teacher.get("/drills/make/", asked).context["fingerings"]
    assert offered[0].word == "usual"
    other = offered[-1].word
    teacher.post("/drills/make/", asked | {"fingering": other})
    version = DrillVersion.objects.get()
    assert version.request["fingering"] == other
    assert version.page == generate(Request.from_dict(version.request))


def test_a_form_that_is_wrong_is_said_in_the_preview(teacher):
    page = page_of(teacher.get("/drills/make/", ASKED | {"playings": "40"}))
    assert "Times together: Ensure this value is less than or equal to 12." in page
    assert teacher.post("/drills/make/", ASKED | {"key": "H major"}).status_code == 422


def test_the_pupil_s_instrument_and_string_length_are_taken(cast, teacher):
    Instrument.objects.create(
        pupil=cast.pupil,
        studio=cast.studio,
        kind="viola",
        string_length_mm=330,
        started_on=timezone.localdate(),
    )
    answer = teacher.post("/drills/make/", ASKED | {"pupil": cast.enrolment.pk})
    drill = Drill.objects.get()
    assert answer.url == f"/drills/{drill.pk}/?for={cast.enrolment.pk}"
    made = Request.from_dict(drill.newest().request)
    assert (made.instrument, made.string_length_mm, made.hand) == ("viola", 330.0, "small")


def test_a_pupil_of_another_studio_is_no_choice(cast, teacher):
    asked = ASKED | {"pupil": cast.foreign_enrolment.pk}
    assert teacher.post("/drills/make/", asked).status_code == 422


def test_the_studio_s_usual_instrument_and_order_are_filled_in(cast, teacher):
    ShelfSettings.objects.create(
        studio=cast.studio, interval_order=["thirds"], instrument="viola", string_length_mm=380
    )
    score = teacher.get("/drills/make/").context["score"]
    assert (score.title, score.instrument) == ("G major in thirds, from E", "viola")


def test_a_wide_stretch_is_told_in_millimetres_with_the_caution(teacher):
    # A3 on G with A4 on D: 328 mm x (2^(-2/12) - 2^(-7/12)) = 73.3 mm (arithmetic), which is wide
    # for a small hand and for no other.
    asked = ASKED | {"interval": "octaves", "key": "A major", "hand": "small", "start": 1}
    page = page_of(teacher.get("/drills/make/", asked))
    assert "mm between the fingers" in page
    assert "If anything hurts, tingles or feels numb, stop and tell your teacher" in page
    small = teacher.get("/drills/make/", asked).context["stretches"]
    large = teacher.get("/drills/make/", asked | {"hand": "large"}).context["stretches"]
    assert ("n1", 73) in [(stretch.ref, round(stretch.span_mm)) for stretch in small]
    assert large == []


@pytest.mark.parametrize("pattern", [name for name in PATTERNS if name != "pairs"])
def test_every_pattern_can_be_made_and_its_page_says_how_it_is_played(teacher, pattern):
    assert pattern in ASKS
    teacher.post("/drills/make/", ASKED | {"pattern": pattern, "key": "G major"})
    version = DrillVersion.objects.get()
    assert version.page is not None
    assert version.words.endswith("Rest when the hand is tired.")
    assert version.is_melody == (pattern == "one_string")


PLAYED = {
    "rhythm": "dotted",
    "slur": "4",
    "first_bow": "up",
    "stroke": "martele",
    "fingers_down": "on",
    "manner": "together",
}


def test_rhythm_and_bowing_are_asked_for_written_and_filled_in_again(teacher):
    teacher.post("/drills/make/", ASKED | PLAYED)
    version = DrillVersion.objects.get()
    asked = Request.from_dict(version.request)
    assert (asked.rhythm, asked.slur, asked.first_bow, asked.stroke) == (
        "dotted",
        4,
        "up",
        "martele",
    )
    assert asked.fingers_down
    assert version.page == generate(asked)
    assert "No rhythm" not in version.words
    page = page_of(teacher.get(f"/drills/make/?{query_of(asked)}"))
    for value in ("dotted", "4", "up", "martele"):
        assert f'<option value="{value}" selected>' in page
    assert '<details class="more" open>' in page  # what was chosen stands open


def test_a_drill_that_was_made_leads_to_the_form_filled_in_with_it(teacher):
    """Another rhythm, key or order of its notes is two presses away."""
    teacher.post("/drills/make/", ASKED | PLAYED)
    version = DrillVersion.objects.get()
    page = teacher.get(f"/drills/{version.drill_id}/")
    assert "Make a variant" in page_of(page)
    again = teacher.get(f"/drills/make/?{page.context['variant']}")
    assert again.context["score"] == version.page


def test_what_is_seldom_asked_for_is_folded(teacher):
    page = page_of(teacher.get("/drills/make/"))
    assert page.count('<details class="more">') == 3


@pytest.mark.parametrize(
    ("pattern", "asked", "title"),
    [
        ("mixed", {"mixed": "sixths-octaves"}, "G major: sixths and octaves"),
        ("mixed", {"mixed": "fifths-sixths"}, "G major: fifths and sixths"),
        ("resolutions", {"resolution": "sixth_octave"}, "G major: sixth to octave"),
        ("arpeggio", {"chord": "dominant_seventh"}, "G major: dominant seventh in sixths, one oct"),
        ("inversions", {"parts": "4"}, "G major: tonic chord in its inversions, in pairs"),
        ("one_string", {"string": "4"}, "G major on the G string, one octave"),
    ],
)
def test_what_a_pattern_asks_for_is_taken(teacher, pattern, asked, title):
    answer = teacher.get("/drills/make/", ASKED | {"pattern": pattern, "key": "G major"} | asked)
    assert answer.context["score"].title.startswith(title)


NAMED = ASKED | {"pattern": "pairs", "pairs": "B♭3–B♭4, C4 - C5; Bb3-Bb4", "key": "B♭ major"}


def test_named_double_stops_say_their_interval_themselves(teacher):
    teacher.post("/drills/make/", NAMED)
    version = DrillVersion.objects.get()
    assert (version.title, version.interval) == ("B♭ major: octaves on B♭3, C4", "P8")
    together = [item.pitches for item in version.page.written]
    assert [str(low) for low, _ in together] == ["Bb3", "C4", "Bb3"]
    page = page_of(teacher.get("/drills/make/", NAMED))
    assert 'value="B♭3–B♭4, C4 - C5; Bb3-Bb4"' in page


@pytest.mark.parametrize(
    ("pairs", "said"),
    [
        ("", "Write them like B♭3–B♭4, C4–C5"),
        ("B♭3", "“B♭3” is not a double stop"),
        ("H3-H4", "“H3-H4” is not a double stop"),
        ("C5-C4", "All in one interval"),
        ("C4-C5, C4-E4", "All in one interval"),
        ("C4-D4", "All in one interval"),
        (", ".join(["C4-C5"] * 25), "Write them like B♭3–B♭4, C4–C5: 1 to 24 of them"),
    ],
)
def test_named_double_stops_that_cannot_be_read_are_said(teacher, pairs, said):
    answer = teacher.post("/drills/make/", NAMED | {"pairs": pairs})
    assert answer.status_code == 422
    assert f"Double stops: {said}" in page_of(answer)
    assert not Drill.objects.exists()


def test_named_double_stops_without_a_place_lead_to_the_same_on_other_strings(teacher):
    answer = teacher.get("/drills/make/", NAMED | {"strings": "2-1"})
    page = page_of(answer)
    assert "B♭3 with B♭4 cannot be played on the A and E strings of a violin." in page
    assert "the same double stops across the strings" in page
    again = teacher.get(f"/drills/make/?{answer.context['nearest_query']}")
    assert again.context["score"].title == "B♭ major: octaves on B♭3, C4"


def test_changed_fingers_make_a_new_version_once_the_drill_was_set(cast, teacher):
    teacher.post("/drills/make/", ASKED)
    drill = Drill.objects.get()
    teacher.post(f"/drills/{drill.pk}/set/", {"pupil": cast.enrolment.pk})
    address = f"/drills/{drill.pk}/fingers/"
    rows = teacher.get(address).context["rows"]
    data = {}
    for row in rows:
        for cell in row.cells:
            data |= {cell.string_name: cell.string, cell.finger_name: cell.finger}
        data |= {row.hold_name: row.hold, row.playings_name: row.playings}
    refused = teacher.post(address, data | {"p-n1": "99"})
    assert refused.status_code == 422
    assert "Bar 1: the number of times &#x27;99&#x27;" in page_of(refused)
    assert teacher.post(address, data | {"p-n1": "5"}).status_code == 302
    old, new = drill.versions.order_by("number")
    assert (old.page.find("n1").playings, new.page.find("n1").playings) == (2, 5)
    assert old.assignments.count() == 1


def test_pressed_twice_it_is_one_drill_and_set_twice_one_assignment(cast, teacher):
    addresses = {teacher.post("/drills/make/", ASKED).url for _ in range(2)}
    drill = Drill.objects.get()
    assert addresses == {f"/drills/{drill.pk}/"}
    teacher.post("/drills/make/", ASKED | {"title": "Another"})
    assert Drill.objects.count() == 2
    for playings in ("2", "3"):
        said = {"pupil": cast.enrolment.pk, "playings": playings}
        teacher.post(f"/drills/{drill.pk}/set/", said)
    assert [a.playings for a in cast.enrolment.assignments.all()] == [3]
