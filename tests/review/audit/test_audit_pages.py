"""The pages of a round: nothing tells which moment is marked; they work without a script."""

import json
import re

import pytest

from studio.review.audit import rounds
from studio.review.models import AuditMoment
from tests.cast import as_person
from tests.review.audit.played import audited_clip

SCRIPT = {"headers": {"Accept": "application/json"}}


@pytest.fixture
def clip(cast):
    return audited_clip(cast.enrolment, "Slow octaves")


@pytest.fixture
def asked(cast, clip):
    return rounds.begin(cast.teacher, cast.studio)


def main_of(page) -> str:
    return re.search(r"<main.*</main>", page.content.decode(), re.S)[0]


def shape_of(page: str) -> str:
    """A page of a round without what differs from moment to moment: figures, names of files."""
    parts = page.split('<div class="listening"')[1].split('id="back"')[0]
    return re.sub(r'value="\w{64}"|[\da-f]{8}-[\da-f-]{27}|[\d:.]+', "#", parts)


def test_nothing_tells_a_marked_moment_from_another_before_the_answer(cast, asked):
    client, shapes = as_person(cast.teacher), {}
    for _ in range(5):
        page = main_of(client.get(f"/blind-audit/{asked.pk}/"))
        (moment,) = re.findall(r'name="moment" value="(\d+)"', page)
        for secret in ("Mira", "Sandholm", "Slow octaves", "cents", "wide", "octave"):
            assert secret not in page
        marked = AuditMoment.objects.get(pk=moment).was_marked
        shapes.setdefault(marked, set()).add(shape_of(page))
        sent = {"moment": moment, "answer": "in_tune"}
        answer = client.post(f"/blind-audit/{asked.pk}/", sent, **SCRIPT).json()
        names = {name for each in answer["moments"] for name in each}
        assert names <= {"id", "src", "video", "from", "to", "start", "end"}
    assert shapes[True] == shapes[False]


def test_a_round_is_judged_without_a_script_left_and_gone_on_with(cast, asked):
    client = as_person(cast.teacher)
    for said in ("out", "cannot_tell"):
        page = main_of(client.get(f"/blind-audit/{asked.pk}/"))
        (moment,) = re.findall(r'name="moment" value="(\d+)"', page)
        sent = {"moment": moment, "answer": said}
        for _ in range(2):  # pressed twice, it counts once
            assert client.post(f"/blind-audit/{asked.pk}/", sent).status_code == 302
    assert "2 of 5 judged" in main_of(client.get("/blind-audit/"))
    client.post(f"/blind-audit/{asked.pk}/back/")
    assert rounds.judged_in(asked) == 1
    client.post(f"/blind-audit/{asked.pk}/", {"moment": moment, "answer": "perfect"})
    assert rounds.judged_in(asked) == 1


def test_the_result_says_what_the_program_had_said_and_where(cast, asked, clip):
    client = as_person(cast.teacher)
    while moment := rounds.to_judge(asked).first():
        rounds.answer(asked, moment.pk, "out" if moment.was_marked else "in_tune")
    assert "All moments are judged" in main_of(client.get(f"/blind-audit/{asked.pk}/"))
    page = main_of(client.post(f"/blind-audit/{asked.pk}/end/", follow=True))
    assert f"/clips/{clip.pk}/?at=4.000" in page
    assert page.count("No mark stood there.") == 2
    assert "Of 3 marks 3 were heard out of tune without being shown. That is too few" in page
    assert "no kind of mark is proposed quietly" in page
    whole = main_of(client.get("/blind-audit/"))
    assert "It takes 70 more marks, all judged right, to show 95 %." in whole


def test_a_round_is_nobody_elses(cast, asked):
    for who in (cast.colleague, cast.foreign_teacher, cast.pupil, cast.guardian):
        client = as_person(who)
        assert client.get(f"/blind-audit/{asked.pk}/").status_code in (403, 404)
        sent = {"moment": asked.moments.first().pk, "answer": "out"}
        assert client.post(f"/blind-audit/{asked.pk}/", sent).status_code in (403, 404)
    assert rounds.judged_in(asked) == 0


def test_the_page_of_a_round_asks_no_more_with_more_moments(
    cast, asked, django_assert_num_queries, django_assert_max_num_queries
):
    client, address = as_person(cast.teacher), f"/blind-audit/{asked.pk}/"
    client.get(address)
    with django_assert_max_num_queries(20) as few:
        client.get(address)
    one = asked.moments.first()
    for place in range(6, 56):
        one.pk, one.position = None, place
        one.save(force_insert=True)
    with django_assert_num_queries(len(few)):
        client.get(address)
    assert json.loads(client.post(f"{address}back/", **SCRIPT).content)["of"] == 55
