"""Two who press at the same moment, on PostgreSQL: one row, or a conflict that loses no text."""

import html
import threading
from collections.abc import Callable, Iterator

import pytest
from django.conf import settings
from django.db import connections

from studio.clips import services as clips
from studio.clips.models import Clip, Original
from studio.clips.upkeep.verification import verify
from studio.review.comments import CommentText, add_comment
from studio.review.models import Comment, Decision, Return, Review
from tests import production
from tests.cast import Cast, as_person, make_cast
from tests.faults.at_work import a_recording, send
from tests.review.heard_clip import heard_clip, review_of

PRESSES = 4


@pytest.fixture(scope="module")
def ground(postgres, redis_server, tmp_path_factory, django_db_blocker) -> Iterator[None]:
    folder = tmp_path_factory.mktemp("at-once")
    place = production.Ground(folder / "data", postgres.create("at_once"), redis_server.url)
    with django_db_blocker.unblock(), production.on_production_ground(place):
        yield


@pytest.fixture
def cast(ground, monkeypatch) -> Cast:
    settings.MEDIA_ROOT.mkdir(exist_ok=True)
    production.clear()
    monkeypatch.setattr(clips, "dispatch", lambda clip_id, kind: True)
    return make_cast()


def at_once(*presses: Callable[[], object]) -> list:
    """What each gives, each in a thread and with a connection of its own, begun together."""
    given, together = [None] * len(presses), threading.Barrier(len(presses))

    def press(number: int) -> None:
        try:
            together.wait()
            given[number] = presses[number]()
        finally:
            connections.close_all()

    threads = [threading.Thread(target=press, args=(n,)) for n in range(len(presses))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=60)
    return given


def post(who, clip: Clip, path: str, **data):
    """A press in a browser of its own, answered as to a browser without script."""
    client = as_person(who)
    return lambda: client.post(f"/clips/{clip.pk}/{path}", data)


@pytest.mark.fault(30, "two edit one comment at once", "409, text kept")
def test_of_two_edits_one_stands_and_the_other_gets_both_texts(cast, seen):
    clip = heard_clip(cast.enrolment)
    comment = add_comment(review_of(clip), cast.teacher, CommentText("bow", "At first", 4.5))
    path, said = f"comments/{comment.pk}/", {"kind": "bow", "start_s": "0:04.5", "version": "1"}
    answers = at_once(
        post(cast.teacher, clip, path, text="The teacher's words", **said),
        post(cast.colleague, clip, path, text="The colleague's words", **said),
    )
    assert sorted(answer.status_code for answer in answers) == [302, 409]
    (refused,) = [answer for answer in answers if answer.status_code == 409]
    assert "The teacher's words" in html.unescape(refused.text)
    assert "The colleague's words" in html.unescape(refused.text)
    assert Comment.objects.get().version == 2
    seen("one saved, the other answered 409 with both texts on the page; 1 comment, version 2")


@pytest.mark.fault(30, "two write a mark's words at once", "409, text kept")
def test_of_two_wordings_of_a_mark_one_stands_and_the_other_gets_both(cast, seen):
    clip = heard_clip(cast.enrolment)
    said = {"choice": "kept", "listening": clip.listenings.get().pk, "seen": ""}
    answers = at_once(
        post(cast.teacher, clip, "marks/0/", words="Lean back.", **said),
        post(cast.colleague, clip, "marks/0/", words="Lift the elbow.", **said),
    )
    assert sorted(answer.status_code for answer in answers) == [302, 409]
    (refused,) = [answer for answer in answers if answer.status_code == 409]
    assert "Lean back." in refused.text
    assert "Lift the elbow." in refused.text
    assert Decision.objects.count() == 1
    seen("one saved, the other answered 409 with both wordings on the page; 1 decision")


@pytest.mark.fault(30, "two tabs write the summary at once", "409, text kept")
def test_of_two_summaries_one_stands_and_the_other_tab_gets_both(cast, seen):
    clip = heard_clip(cast.enrolment)
    answers = at_once(
        post(cast.teacher, clip, "summary/", summary="Steadier.", seen=""),
        post(cast.teacher, clip, "summary/", summary="Slower, please.", seen=""),
    )
    assert sorted(answer.status_code for answer in answers) == [302, 409]
    (refused,) = [answer for answer in answers if answer.status_code == 409]
    assert "Steadier." in refused.text
    assert "Slower, please." in refused.text
    assert Review.objects.get().summary in ("Steadier.", "Slower, please.")
    seen("one saved, the other tab answered 409 with both texts in it")


@pytest.mark.fault(31, "a clip, a comment and a return are each sent several times", "one row")
def test_a_form_that_is_sent_several_times_at_once_makes_one_row(cast, seen):
    recording = a_recording()
    sent = at_once(*[lambda: send(cast, recording, upload_key="one-send")] * PRESSES)
    assert len({clip.pk for clip in sent}) == 1
    assert (Clip.objects.count(), Original.objects.count()) == (1, 1)
    report = verify()
    assert (report.faults, report.orphans) == ([], [])

    clip = heard_clip(cast.enrolment)
    said = {"kind": "bow", "start_s": "0:04.5", "form_key": "one-press", "text": "More bow"}
    answers = at_once(*[post(cast.teacher, clip, "comments/", **said) for _ in range(PRESSES)])
    assert {answer.status_code for answer in answers} == {302}
    assert Comment.objects.count() == 1

    preview = as_person(cast.teacher).get(f"/clips/{clip.pk}/preview/").context["seen"]
    answers = at_once(*[post(cast.teacher, clip, "return/", seen=preview) for _ in range(PRESSES)])
    assert {answer.status_code for answer in answers} == {302}
    assert Return.objects.count() == 1
    seen(f"{PRESSES} at once of each: 1 clip and 1 file, 1 comment, 1 return")
