"""The operator's page: what waits and failed, and nothing of clips or people."""

from datetime import timedelta

import pytest
from django.utils import timezone

from studio.accounts.models import AuditEntry
from studio.clips.models import Original, Stage, UpkeepRun
from studio.operations import retrying
from studio.workers import signs
from studio.workers.models import Worker
from tests.cast import as_person, make_clip
from tests.review.heard_clip import heard_clip


def failed(cast, kind: str = "listening", code: str = "crashed", **more) -> Stage:
    clip = make_clip(cast.enrolment, "Octaves in the kitchen", has_audio=True)
    fields = {"state": "failed", "failure_code": code, "attempt": 3} | more
    Stage.objects.filter(clip=clip, kind=kind).update(**fields)
    return Stage.objects.get(clip=clip, kind=kind)


def page(cast) -> str:
    answer = as_person(cast.operator).get("/operator/")
    assert answer.status_code == 200
    return " ".join(answer.content.decode().split())


def test_what_waits_and_what_failed_is_said_without_a_name(cast):
    stage = failed(cast, failure_detail="Traceback\nKey (email)=(mira@home.example) exists")
    Stage.objects.filter(kind="small").update(
        state="waiting", changed_at=timezone.now() - timedelta(hours=3)
    )
    text = page(cast)
    assert "1 waiting, the first for 3 hours" in text
    assert f"clip {stage.clip_id}" in text
    assert "after 3 tries" in text
    for private in ("kitchen", "Mira", "Sandholm", "mira@", "Larkhill"):
        assert private not in text, private


def test_workers_are_shown_with_their_last_sign(cast):
    signs.begin("listening@here", ["listening", "sweep"])
    signs.begin("pictures@here", ["pictures", "sweep"])
    Worker.objects.filter(name="pictures@here").update(
        seen_at=timezone.now() - timedelta(minutes=10)
    )
    text = page(cast)
    assert "At work since" in text
    assert "No sign of life since" in text


def test_it_is_said_when_nobody_listens(cast):
    failed(cast, state="waiting", failure_code="", changed_at=timezone.now() - timedelta(hours=1))
    assert "No listener has given a sign of life" in page(cast)


def test_clips_of_an_earlier_engine_are_counted_and_a_failure_to_hear_one_anew_is_shown(
    cast, settings
):
    clip = heard_clip(cast.enrolment)
    assert "earlier version" not in page(cast)
    clip.listenings.update(engine="0.9.0")
    Original.objects.create(clip=clip, path="there", sha256="0" * 64, size_bytes=1)
    text = page(cast)
    assert "1 clip was heard by an earlier version of the program." in text
    assert "They are heard anew while nothing else waits." in text
    settings.HEAR_ANEW = False
    assert "once <code>python -m studio hear_anew</code> asks for it" in page(cast)
    Stage.objects.create(clip=clip, kind="rehearing", state="parked", failure_code="crashed")
    assert "<b>Hearing anew</b>, parked" in page(cast)
    home = as_person(cast.teacher).get("/").content.decode()
    assert "looked at" not in home + as_person(cast.pupil).get("/").content.decode()


def test_trying_again_begins_from_the_beginning_and_is_recorded(cast):
    stage, other = failed(cast), failed(cast, "playback", "timeout")
    (first, _) = retrying.failed()
    browser = as_person(cast.operator)
    answer = browser.post("/operator/try-again/", {"name": first.name}, follow=True)
    assert "1 piece of work is tried again" in answer.content.decode()
    stage.refresh_from_db()
    other.refresh_from_db()
    assert (stage.state, stage.attempt, stage.failure_code) == ("waiting", 0, "")
    assert other.state == "failed"
    entry = AuditEntry.objects.get()
    assert (entry.act, entry.by, entry.clip_id) == ("tried_again", cast.operator, stage.clip_id)
    assert entry.by_operator
    again = browser.post("/operator/try-again/", {"name": first.name}, follow=True)
    assert "tried again already" in again.content.decode()
    browser.post("/operator/try-again/", {"name": "all"})
    other.refresh_from_db()
    assert other.state == "waiting"


@pytest.mark.parametrize("name", ["", "clips.stage", "clips.stage/x", "accounts.person/1", "x/1/2"])
def test_what_is_not_failed_work_is_not_tried(cast, name):
    stage = failed(cast)
    answer = as_person(cast.operator).post("/operator/try-again/", {"name": name}, follow=True)
    assert answer.status_code == 200
    stage.refresh_from_db()
    assert stage.state == "failed"


def test_a_recording_without_sound_has_not_failed(cast):
    failed(cast, code="no_sound")
    assert list(retrying.failed()) == []


def test_the_right_is_neither_a_teacher_s_nor_an_owner_s(cast):
    for person in (cast.teacher, cast.colleague, cast.pupil, cast.guardian):
        assert as_person(person).get("/operator/").status_code == 404
        assert as_person(person).post("/operator/try-again/", {"name": "all"}).status_code == 404
    for closed in ("/waiting/", "/people/", "/people/done/", "/pupils/"):
        assert as_person(cast.operator).get(closed).status_code == 404
    assert as_person(cast.operator).get("/").url == "/operator/"


def test_as_many_queries_for_many_failures(cast, django_assert_max_num_queries):
    for _ in range(12):
        failed(cast)
    browser = as_person(cast.operator)
    with django_assert_max_num_queries(51):  # three for each kind of work
        browser.get("/operator/")


def test_the_last_backup_and_drill_are_told_to_operator_and_watchers(cast, settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path
    assert "Last backup: <b>never</b>" in page(cast)
    now = timezone.now()
    for kind, is_whole in (("backup", True), ("drill", False)):
        UpkeepRun.objects.create(
            kind=kind, started_at=now, ended_at=now, is_whole=is_whole, said="", figures={}
        )
    text = page(cast)
    assert ", whole</li>" in text
    assert "<b>with faults</b>" in text
    metrics = as_person(None).get("/metrics").content.decode()
    assert 'studio_upkeep_whole{kind="backup"} 1.0' in metrics
    assert 'studio_upkeep_whole{kind="drill"} 0.0' in metrics


def test_parked_work_is_tried_again_too(cast):
    stage = failed(cast, state="parked", worker_deaths=2)
    as_person(cast.operator).post("/operator/try-again/", {"name": f"clips.stage/{stage.pk}"})
    stage.refresh_from_db()
    assert (stage.state, stage.attempt) == ("waiting", 0)
    assert AuditEntry.objects.get().act == "tried_again"
