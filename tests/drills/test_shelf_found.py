"""Finding drills on the shelf: words, filters, order, favourites, copies; and quickly with many."""

import pytest

from studio.drills import services
from studio.drills.models import Drill, DrillVersion, Favourite, ShelfSettings
from studio.notation import Request, generate
from tests.cast import as_person, make_drill

MANY = 500


@pytest.fixture
def teacher(cast):
    return as_person(cast.teacher)


@pytest.fixture
def shelf(cast) -> dict[str, Drill]:
    """Five drills that differ in all that can be asked for."""
    says = {
        "octaves": {"interval": "P8", "key": "G major", "level": "growing", "instrument": "violin"},
        "sixths": {"interval": "6", "key": "B♭ major", "level": "growing"},
        "minor sixths": {"interval": "m6", "key": "C minor", "level": "advanced"},
        "thirds": {"interval": "3", "key": "D major", "level": "first_steps"},
        "tunes": {"interval": "", "tags": "concert, duet", "instrument": "viola"},
    }
    made = {
        title: make_drill(cast.teacher, cast.studio, title, **said) for title, said in says.items()
    }
    make_drill(cast.foreign_teacher, cast.other_studio, "foreign sixths", interval="6")
    return made


def found(client, **asked) -> list[str]:
    page = client.get("/drills/", asked).context["shelf"].page
    return [version.title for version in page]


@pytest.mark.parametrize(
    ("asked", "titles"),
    [
        ({}, ["thirds", "octaves", "sixths", "minor sixths", "tunes"]),
        ({"interval": "sixths"}, ["sixths", "minor sixths"]),
        ({"interval": "mixed"}, ["tunes"]),
        ({"key": "D major"}, ["thirds"]),
        ({"level": "growing"}, ["octaves", "sixths"]),
        ({"instrument": "viola"}, ["thirds", "sixths", "minor sixths", "tunes"]),
        ({"q": "SIXTHS"}, ["sixths", "minor sixths"]),
        ({"q": "duet"}, ["tunes"]),
        ({"q": "hold octaves"}, ["octaves"]),
        ({"q": "b-flat"}, ["sixths"]),
        ({"q": "B flat major"}, ["sixths"]),
        ({"q": "nothing like it"}, []),
        ({"sort": "title"}, ["minor sixths", "octaves", "sixths", "thirds", "tunes"]),
        ({"sort": "newest"}, ["tunes", "thirds", "minor sixths", "sixths", "octaves"]),
        ({"interval": "sevenths", "sort": "x"}, ["thirds", "octaves", "sixths", "minor sixths",
                                                 "tunes"]),
    ],
)  # fmt: skip
def test_what_is_asked_for_is_found_in_order(teacher, shelf, asked, titles):
    assert found(teacher, **asked) == titles


def test_the_studio_s_order_of_intervals_is_the_shelf_s(cast, teacher, shelf):
    said = {"order": "sixths\nOctaves", "instrument": "violin"}
    assert teacher.post("/drills/order/", said).url == "/drills/"
    assert found(teacher, level="growing") == ["sixths", "octaves"]
    order = ShelfSettings.objects.get(studio=cast.studio).order
    assert order[:4] == ("sixths", "octaves", "thirds", "tenths")


def test_an_interval_that_is_none_is_refused_by_its_word(teacher):
    answer = teacher.post("/drills/order/", {"order": "octaves\nsevenths", "instrument": "violin"})
    assert answer.status_code == 422
    assert "“sevenths” is not one of octaves, sixths" in answer.content.decode()


def test_favourites_are_each_teacher_s_own(cast, teacher, shelf):
    address = f"/drills/{shelf['sixths'].pk}/favourite/"
    assert teacher.post(address, {"next": "/drills/?q=x"}).url == "/drills/?q=x"
    teacher.post(address)
    assert found(teacher, favourite="on") == ["sixths"]
    assert found(as_person(cast.colleague), favourite="on") == []
    part = teacher.post(address, {"drop": "1"}, headers={"HX-Request": "true"}).content.decode()
    assert 'aria-pressed="false"' in part
    assert not Favourite.objects.exists()


def test_counts_are_said(teacher, shelf):
    page = teacher.get("/drills/", {"q": "sixths"}).content.decode()
    assert "2 of 5 drills" in page
    assert "sixths (2)" in page


def test_a_part_of_the_page_is_given_to_a_search_while_typing(teacher, shelf):
    part = teacher.get("/drills/", {"q": "duet"}, headers={"HX-Request": "true"})
    assert "<html" not in part.content.decode()
    assert "tunes" in part.content.decode()
    assert "HX-Request" in part["Vary"]


def test_a_copy_says_the_same_and_changes_alone(cast, teacher):
    score = generate(Request(direction="up")).to_dict()
    first = make_drill(cast.teacher, cast.studio, "Octaves", score=score, tags="warm-up")
    answer = teacher.post(f"/drills/{first.pk}/copy/")
    copy = Drill.objects.exclude(pk=first.pk).get()
    assert answer.url == f"/drills/{copy.pk}/words/"
    version = copy.newest()
    assert (version.title, version.score, copy.tags) == ("Octaves, a copy", score, "warm-up")
    services.edit_drill(copy, words="Otherwise")
    assert first.newest().words == "Hold each one."


def test_changing_words_keeps_the_page(cast, teacher):
    score = generate(Request(direction="up")).to_dict()
    drill = make_drill(cast.teacher, cast.studio, score=score)
    said = {"title": "New", "words": "New words", "interval": "P8", "key": "", "tags": "t"}
    teacher.post(f"/drills/{drill.pk}/words/", said)
    version = DrillVersion.objects.get()
    assert (version.title, version.score, version.drill.tags) == ("New", score, "t")
    assert "<svg" in version.incipit


def test_a_shelf_of_five_hundred_asks_the_database_no_more_than_one_of_two(
    cast, teacher, django_assert_num_queries, django_assert_max_num_queries
):
    make_drill(cast.teacher, cast.studio)
    with django_assert_max_num_queries(12) as few:
        teacher.get("/drills/")
    drills = Drill.objects.bulk_create(
        Drill(studio=cast.studio, created_by=cast.teacher) for _ in range(MANY)
    )
    DrillVersion.objects.bulk_create(
        DrillVersion(drill=drill, number=number, title=f"Drill {drill.pk}", words="Hold")
        for drill in drills
        for number in (1, 2)
    )
    with django_assert_num_queries(len(few)):
        page = teacher.get("/drills/", {"page": "2"}).context["shelf"].page
    assert page.paginator.count == MANY + 1
    assert {version.number for version in page} == {2}
