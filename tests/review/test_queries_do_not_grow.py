"""A page takes as many queries with two hundred clips, pupils or drills as with twenty."""

from collections.abc import Callable

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from studio.accounts.models import Person
from tests.cast import (
    Cast,
    as_person,
    enrol,
    guard,
    make_clip,
    make_drill,
    make_return,
    set_for,
)
from tests.review.heard_clip import heard_clip

FEW, MANY = 20, 200


def pupils(cast: Cast, start: int, end: int) -> None:
    """Further pupils, children of the cast's guardian, each with a clip that waits."""
    for number in range(start, end):
        child = Person.objects.create(email=f"{number}@pupil.example", name=f"Pupil {number:03}")
        guard(cast.guardian, child, cast.studio)
        make_clip(enrol(child, cast.studio, cast.teacher, agreed_by=cast.guardian))


def clips(cast: Cast, start: int, end: int) -> None:
    """Clips of the cast's two pupils: every third returned, of both some that wait."""
    for number in range(start, end):
        clip = make_clip((cast.enrolment, cast.other_enrolment)[number % 2], f"Clip {number}")
        if number % 3 == 0:
            make_return(clip)


def drills(cast: Cast, start: int, end: int) -> None:
    for number in range(start, end):
        set_for(cast.enrolment, make_drill(cast.teacher, cast.studio, f"Drill {number}"))


# page: (as whom, its address, what there is more of)
PAGES: dict[str, tuple[str, Callable[[Cast], str], tuple[Callable, ...]]] = {
    "waiting list": ("teacher", lambda cast: "/waiting/", (clips,)),
    "pupils": ("teacher", lambda cast: "/pupils/", (pupils, clips)),
    "a pupil": ("teacher", lambda cast: f"/pupils/{cast.enrolment.pk}/", (clips, drills)),
    "queue": ("pupil", lambda cast: "/queue/", (clips, drills)),
    "children": ("guardian", lambda cast: "/children/", (pupils,)),
    "shelf": ("teacher", lambda cast: "/drills/", (drills,)),
    "batch": ("teacher", lambda cast: "/waiting/batch/", (clips,)),
}


@pytest.mark.sweep(1 / 3)
@pytest.mark.parametrize("page", PAGES)
def test_of_a_list(cast, page):
    who, address, grow = PAGES[page]
    client = as_person(getattr(cast, who))
    counts = []
    for start, end in ((0, FEW), (FEW, MANY)):
        for more in grow:
            more(cast, start, end)
        client.get(address(cast))  # the first may write something down
        counts.append(queries_of(client, address(cast)))
    assert counts[0] == counts[1]


@pytest.mark.sweep(1 / 2)
@pytest.mark.parametrize("who", ["teacher", "pupil"])
def test_of_one_clip_among_many(cast, who):
    clip = heard_clip(cast.enrolment)
    if who == "pupil":
        make_return(clip)
    client = as_person(getattr(cast, who))
    client.get(f"/clips/{clip.pk}/")
    counts = []
    for start, end in ((0, FEW), (FEW, MANY)):
        clips(cast, start, end)
        drills(cast, start, end)
        counts.append(queries_of(client, f"/clips/{clip.pk}/"))
    assert counts[0] == counts[1]


def queries_of(client, address: str) -> int:
    with CaptureQueriesContext(connection) as seen:
        assert client.get(address).status_code == 200
    return len(seen)
