"""The overview: who waits, who has gone quiet, whose load is heavy, what ends off most."""

from datetime import date, timedelta

import numpy as np
import pytest
from django.utils import timezone

from studio.accounts.models import Consent, Person
from studio.clips.models import Clip
from studio.progress.overview.quiet import rhythm_of
from studio.progress.overview.troubles import troubles
from studio.progress.playings import ROW, PlayedClip
from tests.cast import as_person, enrol, make_clip, make_drill, make_return, set_for

TODAY = timezone.localdate()
LONG_AGO = date(2020, 1, 1)


def on_days(*ago: int) -> list[date]:
    return [TODAY - timedelta(days=days) for days in ago]


@pytest.mark.parametrize(
    ("ago", "quiet"),
    [
        ((8, 15, 22, 29), False),  # weekly, and a day late
        ((15, 22, 29, 36), True),  # weekly, and more than twice as long
        ((7, 8, 9, 10), False),  # daily: a week without is never quiet
        ((8, 9, 10, 11), True),
        ((20, 40), False),  # no rhythm is known of two days
        ((22, 40), True),
        ((), True),
    ],
)
def test_quiet_is_said_by_the_pupils_own_rhythm(ago, quiet):
    assert rhythm_of(on_days(*ago), LONG_AGO, TODAY).is_quiet == quiet


def test_whoever_has_just_begun_is_not_quiet():
    assert not rhythm_of((), TODAY - timedelta(days=3), TODAY).is_quiet


def played(*sizes: float, doubt: float = 0.5, short: bytes = b"P8") -> PlayedClip:
    rows = np.zeros(len(sizes), ROW)
    rows["short"], rows["size"], rows["doubt"], rows["runs"] = short, sizes, doubt, 1
    return PlayedClip(clip="c", day=TODAY, rows=rows)


ALLOWED = dict.fromkeys(range(1, 9), (15.0, 18.0))


def test_each_pupil_has_one_voice_and_the_share_has_its_uncertainty():
    most = played(*[30.0] * 5)  # all off
    none = played(*[3.0] * 500)  # none, and much of it
    half = played(*[30.0, 3.0] * 5)
    (said,) = troubles([(1, most), (2, none), (3, half)], ALLOWED)
    assert (said.interval, said.pupils, said.runs, said.off) == ("octaves", 3, 515, 10)
    shares = np.array([1.0, 0.0, 0.5])
    assert said.share == pytest.approx(shares.mean())
    assert said.uncertainty == pytest.approx(shares.std(ddof=1) / 3**0.5)  # by definition


def test_what_is_not_surely_off_or_allowed_at_the_pupils_level_does_not_count():
    clips = [(place, played(*[16.0] * 6, doubt=1.0)) for place in (1, 2, 3)]
    assert troubles(clips, ALLOWED)[0].share == 0.0  # 1 c beyond, known to 2 c
    clips = [(place, played(*[16.0] * 6, doubt=0.1)) for place in (1, 2, 3)]
    assert troubles(clips, ALLOWED)[0].share == 1.0
    assert troubles(clips, dict.fromkeys((1, 2, 3), (25.0, 28.0)))[0].share == 0.0


def test_nothing_is_said_of_fewer_than_three_pupils():
    assert troubles([(1, played(*[30.0] * 9)), (2, played(*[30.0] * 9))], ALLOWED) == []
    assert troubles([], ALLOWED) == []


def rows_of(cast, query: str = "") -> dict[str, dict]:
    page = as_person(cast.teacher).get(f"/overview/{query}")
    assert page.status_code == 200
    return {row["name"]: row for row in page.context["rows"]}


def test_the_page_says_who_waits_who_is_quiet_and_who_has_much_to_do(cast):
    clip = make_clip(cast.enrolment)
    sent = timezone.now() - timedelta(days=30)
    Clip.objects.filter(pk=make_clip(cast.other_enrolment).pk).update(created_at=sent)
    make_return(Clip.objects.get(enrolment=cast.other_enrolment))
    drill = make_drill(cast.teacher, cast.studio)
    for _ in range(3):
        set_for(cast.enrolment, drill, due_on=TODAY - timedelta(days=2))
    rows = rows_of(cast)
    mira, jonas = rows["Mira Sandholm"], rows["Jonas Weidegger"]
    assert (mira["waiting"], mira["is_quiet"], mira["is_heavy"]) == (1, False, True)
    assert (jonas["waiting"], jonas["is_quiet"], jonas["is_heavy"]) == (0, True, False)
    assert mira["load"] == "3 drills open, 3 past their day"
    assert jonas["rhythm"] == "last clip 30 days ago"
    assert list(rows_of(cast, "?show=waiting")) == ["Mira Sandholm"]
    assert list(rows_of(cast, "?show=quiet")) == ["Jonas Weidegger"]
    assert clip.pk


def test_without_consent_nothing_is_said_of_recordings(cast):
    make_clip(cast.enrolment)
    Consent.objects.filter(pupil=cast.pupil).delete()
    mira = rows_of(cast)["Mira Sandholm"]
    assert (mira["waiting"], mira["rhythm"]) == (0, "no consent for recordings")


def test_as_many_queries_for_many_pupils(
    cast, django_assert_max_num_queries, django_assert_num_queries
):
    client = as_person(cast.teacher)
    make_clip(cast.enrolment)
    client.get("/overview/")
    with django_assert_max_num_queries(15) as few:
        client.get("/overview/")
    for number in range(10):
        child = Person.objects.create(email=f"{number}@pupil.example", name=f"Pupil {number}")
        make_clip(enrol(child, cast.studio, cast.teacher))
    with django_assert_num_queries(len(few)):
        client.get("/overview/")
