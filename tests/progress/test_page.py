"""The page of a pupil's progress: what it says, to whom, and what it costs."""

import re
from datetime import timedelta

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from studio.accounts.models import Consent
from studio.clips.models import Stage
from studio.progress.models import ClipFigures, unpacked
from studio.review.models import Return
from tests.benchmarks.progressing.hands import FINGER, Hand, weeks_of
from tests.benchmarks.progressing.pupils import Pupil
from tests.progress.kept_years import keep, keep_year

IMPROVES = Pupil(name="improves", begins_at=46.0, per_week=-1.0)


def page(person, name, *args, **asked) -> str:
    client = Client()
    client.force_login(person, "django.contrib.auth.backends.ModelBackend")
    answer = client.get(reverse(name, args=args), asked)
    assert answer.status_code == 200, answer.status_code
    return answer.content.decode()


@pytest.fixture
def year(cast):
    return keep_year(cast.enrolment, IMPROVES)


def test_each_reads_it_of_whom_they_may(cast, year):
    pages = [
        page(cast.teacher, "pupil_progress", cast.enrolment.pk),
        page(cast.pupil, "own_progress"),
        page(cast.guardian, "child_progress", cast.enrolment.pk),
    ]
    for text in pages:
        assert re.search(r"Double stops: closer by \d+ ± \d+ cents since \w+", text)
    assert "you dropped" in pages[0]
    assert f"{cast.enrolment.teacher} dropped" in pages[1]


def test_a_point_opens_its_moment(cast, year):
    text = page(cast.teacher, "pupil_progress", cast.enrolment.pk)
    links = set(re.findall(r'href="/clips/([-0-9a-f]+)/\?at=[\d.]+"', text))
    assert 20 < len(links) <= 40
    assert links <= {str(clip.pk) for clip in year}
    assert 'class="trend"' in text


def test_without_data_and_with_one_clip_nothing_is_claimed(cast):
    text = page(cast.teacher, "pupil_progress", cast.enrolment.pk)
    assert "Nothing to compare yet" in text
    clips = keep_year(cast.enrolment, IMPROVES)
    ClipFigures.objects.exclude(clip=clips[-1]).delete()
    text = page(cast.teacher, "pupil_progress", cast.enrolment.pk)
    assert "Nothing is clear yet" in text
    assert 'class="trend"' not in text
    assert text.count('class="dot"') == 1


def test_at_home_nothing_counts_that_cannot_be_seen_yet(cast, year):
    Return.objects.update(visible_at=timezone.now() + timedelta(hours=1))
    assert "Nothing to compare yet" in page(cast.pupil, "own_progress")
    assert "closer by" in page(cast.teacher, "pupil_progress", cast.enrolment.pk)


def test_a_teacher_reads_nothing_without_consent(cast, year):
    Consent.objects.update(withdrawn_at=timezone.now(), withdrawn_by=cast.guardian)
    client = Client()
    client.force_login(cast.teacher, "django.contrib.auth.backends.ModelBackend")
    address = reverse("pupil_progress", args=[cast.enrolment.pk])
    assert client.get(address).status_code == 403
    assert "closer by" in page(cast.guardian, "child_progress", cast.enrolment.pk)


def test_figures_of_two_generations_are_not_compared(cast, year):
    few = [clip.pk for clip in year[:30]]
    ClipFigures.objects.filter(clip__in=few).update(generation=1)
    text = page(cast.teacher, "pupil_progress", cast.enrolment.pk)
    assert "30 older clips were heard by an earlier version" in text


@pytest.mark.parametrize("measure", ["first", "landing", "steadiness", "balance"])
@pytest.mark.parametrize("by", ["key", "fingers"])
def test_every_choice_can_be_made(cast, year, measure, by):
    text = page(cast.pupil, "own_progress", measure=measure, by=by, period="all")
    assert f'<option value="{measure}" selected>' in text
    assert f'<option value="{by}" selected>' in text


def test_what_is_not_known_is_as_usual(cast, year):
    odd = {"measure": "height", "by": "moon", "period": "ever", "show": "nothing"}
    token = re.compile(r"[A-Za-z0-9]{64}")  # each page has its own
    found = [token.sub("", page(cast.pupil, "own_progress", **said)) for said in (odd, {})]
    assert found[0] == found[1]


def test_a_picture_of_another_answer_is_shown_when_asked(cast, year):
    text = page(cast.pupil, "own_progress", show="sixths")
    assert re.search(r'<h2 id="picture">Sixths: ', text)


def test_a_double_stop_is_heard_then_and_now(cast, year):
    assert "then-and-now" not in page(cast.pupil, "own_progress")  # no recording, nothing to hear
    for figures in ClipFigures.objects.select_related("clip"):
        starts = [float(row["at_s"]) for row in unpacked(vars(figures)).rows]
        stops = [
            {"name": f"note {at:g}", "ref": "", "start_s": at, "end_s": at + 2.0, "begins_s": at}
            for at in starts
        ]
        Return.objects.filter(review__clip=figures.clip).update(snapshot={"stops": stops})
    Stage.objects.bulk_create(
        Stage(clip=clip, kind=Stage.Kind.PLAYBACK, state=Stage.State.PLAYABLE) for clip in year
    )
    text = page(cast.pupil, "own_progress")
    heard = re.findall(r'href="/clips/([-0-9a-f]+)/\?at=([\d.]+)"\s+data-src="([^"]+)"', text)
    assert len(heard) == 2
    assert heard[0][0] != heard[1][0]
    assert heard[0][1] == heard[1][1]  # the same double stop of the drill, by its made-up time
    assert all(clip in source for clip, _, source in heard)
    assert re.search(r">Then, [^<]+</a>", text)
    assert re.search(r">Now, [^<]+</a>", text)


def test_the_map_of_the_fingerboard_opens_moments_and_has_a_table(cast):
    text = page(cast.teacher, "pupil_progress", cast.enrolment.pk)
    assert "fingerboard" not in text
    hand = Hand(name="low first finger", cause=FINGER, which=1, cents=-25.0)
    played = weeks_of(hand, 3)
    clips = keep(cast.enrolment, played, timezone.localdate() - played[-1].day)
    text = page(cast.guardian, "child_progress", cast.enrolment.pk)
    board = text[text.index('id="fingerboard"') :]
    assert re.search(r"<title>\S+ on the \w string, \d+ semitones? up: \d+ ± \d+ cents flat", board)
    assert "Notes of the first finger stand" in text
    assert "Drills that treat it" not in text  # the teacher sets them
    text = page(cast.teacher, "pupil_progress", cast.enrolment.pk)
    assert re.search(r'<a href="/drills/[^"]*pattern=drone_below', text)
    rows = re.findall(r'<th scope="row">\s*<a href="/clips/([-0-9a-f]+)/\?at=[\d.]+">', board)
    assert len(rows) > 20
    assert set(rows) <= {str(clip.pk) for clip in clips}


def test_queries_do_not_grow_with_clips(cast, django_assert_max_num_queries):
    few = keep_year(cast.enrolment, Pupil(name="few", weeks=8))
    address = reverse("pupil_progress", args=[cast.enrolment.pk])
    client = Client()
    client.force_login(cast.teacher, "django.contrib.auth.backends.ModelBackend")
    client.get(address)
    with django_assert_max_num_queries(30) as first:
        client.get(address)
    assert len(few) < len(keep_year(cast.enrolment, IMPROVES, seed=2))
    with django_assert_max_num_queries(len(first)):
        client.get(address)
