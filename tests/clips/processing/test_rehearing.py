"""Clips of an earlier engine are heard anew in idle time, and never before a new one."""

from datetime import timedelta
from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.db import OperationalError
from django.utils import timezone

from studio.accounts import lesson_endings
from studio.clips import services, tasks
from studio.clips.models import Clip, Listening, Original, Rendition, Stage, version_of
from studio.clips.processing import rehearing, renditions, stages
from studio.intonation import ENGINE
from studio.jobs import leases
from studio.review.models import Review
from studio.workers import pace, signs
from tests.samples import SAMPLE

BEFORE = "0.9.0"  # of a generation before any that is at work
OPTIONS = {"instrument": "viola", "string_length_mm": 380.0, "a4_hz": 442.0}
REHEARING = Stage.Kind.REHEARING


@pytest.fixture
def sent(monkeypatch) -> list[str]:
    """The clips whose message went to be heard anew."""
    found: list[str] = []

    def take(task, queue, said, rows) -> bool:
        if task == "studio.clips.tasks.hear_clip_anew":
            found.append(said["clip_id"])
        rows.update(dispatched_at=timezone.now())
        return True

    monkeypatch.setattr(stages, "send", take)
    return found


@pytest.fixture
def listener(db) -> None:
    signs.begin("listening@here", ["listening"])


@pytest.fixture
def old(enrolment):
    """Makes a clip that an engine heard some days ago; the recording itself is nothing here."""

    def make(days_ago: float = 1.0, engine: str = BEFORE, **more) -> Clip:
        clip = Clip.objects.create(
            enrolment=more.pop("at", enrolment),
            uploaded_by=enrolment.pupil,
            intake=Clip.Intake.RECEIVED,
            duration_s=60.0,
            created_at=timezone.now() - timedelta(days=days_ago),
            **more,
        )
        Stage.objects.create(clip=clip, kind=Stage.Kind.LISTENING, state=Stage.State.HEARD)
        Original.objects.create(clip=clip, path=f"{clip.pk}", sha256="0" * 64, size_bytes=1)
        heard_by(clip, engine)
        Review.objects.create(clip=clip, state=Review.State.RETURNED)
        return clip

    return make


def heard_by(clip: Clip, engine: str) -> Listening:
    return Listening.objects.create(
        clip=clip, engine=engine, options=OPTIONS, input_sha256="", measurement={}
    )


def new_clip(like: Clip) -> Stage:
    clip = Clip.objects.create(
        enrolment=like.enrolment, uploaded_by=like.uploaded_by, intake=Clip.Intake.RECEIVED
    )
    return Stage.objects.create(clip=clip, kind=Stage.Kind.LISTENING)


def command(*args: str) -> str:
    out = StringIO()
    call_command("hear_anew", *args, stdout=out)
    return out.getvalue()


def waiting() -> set:
    return {stage.clip for stage in Stage.objects.filter(kind=REHEARING, state="waiting")}


# -- which clips -----------------------------------------------------------------------------------


def test_a_clip_of_an_earlier_generation_is_outdated_until_the_present_one_heard_it(old):
    clip, present = old(), old(engine=ENGINE)
    assert list(rehearing.outdated()) == [clip]
    heard_by(clip, f"{version_of(ENGINE)[0]}.99.0")
    assert not rehearing.outdated().exists()
    assert not rehearing.outdated().filter(pk=present.pk).exists()


def test_a_smaller_step_counts_only_where_it_is_asked_for(old, monkeypatch):
    monkeypatch.setattr(rehearing, "ENGINE", "3.10.0")
    small, big = old(engine="3.9.2"), old(engine="2.0.0")
    assert list(rehearing.outdated()) == [big]
    assert set(rehearing.outdated(whole_version=True)) == {small, big}


def test_what_may_not_be_listened_to_stays_as_it_is(old):
    erased, gone, agreed = old(), old(), old()
    Clip.objects.filter(pk=erased.pk).update(erased_at=timezone.now())
    gone.original.delete()
    assert list(rehearing.outdated()) == [agreed]
    agreed.enrolment.pupil.consents.all().delete()
    assert not rehearing.outdated().exists()


def test_once_lessons_have_ended_nothing_of_them_is_listened_to(old):
    """Until their end is taken back; what is played is prepared all the same, for the family."""
    clip = old()
    new = new_clip(clip)
    picture = Stage.objects.create(clip=new.clip, kind=Stage.Kind.PLAYBACK)
    assert new in Stage.objects.filter(stages.may_be_worked_on())
    lesson_endings.end_lessons(clip.enrolment)
    assert not rehearing.outdated().exists()
    assert list(Stage.objects.filter(stages.may_be_worked_on(), clip=new.clip)) == [picture]
    assert not rehearing.new_clip_waits()
    lesson_endings.take_back(clip.enrolment, lesson_endings.Side.STUDIO)
    assert rehearing.outdated().get() == clip
    assert rehearing.new_clip_waits()


def test_first_what_a_teacher_waits_with_then_the_latest_then_the_newest(old):
    oldest, middle, latest = old(9), old(6), old(1)
    waits, waits_longer = old(4), old(5)
    Review.objects.filter(clip__in=(waits, waits_longer)).update(state="waiting")
    turn = list(rehearing.in_turn(rehearing.outdated()))
    assert turn == [waits_longer, waits, latest, middle, oldest]


# -- the command -----------------------------------------------------------------------------------


def test_the_command_asks_once_and_says_how_many_and_how_long(old):
    clips = {old(days) for days in (1, 2, 3)}
    Review.objects.filter(clip=min(clips, key=lambda clip: clip.created_at)).update(state="open")
    pace.note("listening", 60.0, 3.0)
    said = command("--dry-run")
    assert "3 clips are to be heard anew, 3 min of recordings" in said
    assert "1 that a teacher waits with, 1 that are a pupil's latest, 1 others" in said
    assert "that is 9 s of one listener's idle time" in said
    assert "page Service" in said
    assert waiting() == set()
    assert "3 clips are asked for now." in command()
    assert waiting() == clips
    assert "No clips are asked for now." in command()
    assert Stage.objects.filter(kind=REHEARING).count() == 3


def test_the_command_can_be_about_one_studio_or_one_clip(old):
    one, other = old(1), old(2)
    assert "No clip is to be heard anew" in command("--clip", str(old(engine=ENGINE).pk))
    command("--clip", str(one.pk))
    assert waiting() == {one}
    command("--studio", "test STUDIO")
    assert waiting() == {one, other}
    with pytest.raises(CommandError, match="There are: Test studio"):
        command("--studio", "Nowhere")


def test_what_failed_is_left_alone_until_it_is_named(old):
    clip = old()
    Stage.objects.create(clip=clip, kind=REHEARING, state="failed", failure_code="unreadable")
    said = command()
    assert "No clip is to be heard anew" in said
    assert "1 clip is left as heard before" in said
    assert waiting() == set()
    command("--clip", str(clip.pk))
    assert waiting() == {clip}


# -- in idle time ----------------------------------------------------------------------------------


def test_in_idle_time_one_is_sent_at_a_time(old, sent, listener):
    clip, later = old(1), old(2)
    tasks.hear_anew()
    tasks.hear_anew()
    assert sent == [str(clip.pk)]
    assert waiting() == {clip}
    assert stages.claim(clip.pk, REHEARING)
    tasks.hear_anew()
    assert sent == [str(clip.pk)], "one is at work"
    assert later not in waiting()


def test_nothing_is_sent_while_no_listener_is_at_work(old, sent):
    old()
    tasks.hear_anew()
    assert sent == []


def test_by_the_setting_only_what_is_asked_for_is_sent(old, sent, listener, settings):
    settings.HEAR_ANEW = False
    clip = old()
    tasks.hear_anew()
    assert sent == []
    command()
    tasks.hear_anew()
    assert sent == [str(clip.pk)]


def test_a_new_clip_goes_first_though_both_wait(old, sent, listener, monkeypatch):
    """Whatever the order of their messages: one that comes too early is put back."""
    order = []

    def note(stage: Stage) -> None:
        order.append(stage.clip_id)
        stages.publish(stage, lambda clip: stage.delete() if stage.kind == REHEARING else None)

    monkeypatch.setattr(renditions, "hear_anew", note)
    monkeypatch.setattr(renditions, "listen_to", note)
    clip = old()
    tasks.hear_anew()
    new = new_clip(clip)
    tasks.hear_clip_anew(clip_id=str(clip.pk))
    assert order == []
    tasks.hear_anew()
    assert len(sent) == 1, "none is sent while a new one waits"
    tasks.listen_to_clip(clip_id=str(new.clip_id))
    tasks.hear_anew()
    assert sent == [str(clip.pk)] * 2
    tasks.hear_clip_anew(clip_id=str(clip.pk))
    assert order == [new.clip_id, clip.pk]


def test_the_sweep_sends_what_a_dead_worker_left_but_not_what_waits_for_its_turn(old):
    clip = old()
    rehearing.ask_for([clip])
    long_ago = timezone.now() - timedelta(hours=1)
    Stage.objects.filter(kind=REHEARING).update(changed_at=long_ago)
    assert not stages.lost().exists()
    stages.claim(clip.pk, REHEARING)
    Stage.objects.filter(kind=REHEARING).update(lease_until=long_ago)
    assert [stage.clip for stage in stages.lost()] == [clip]


def test_after_a_full_disk_others_have_their_turn_first(old, sent, listener):
    ill, other = old(1), old(2)
    command()
    leases.give_up(stages.claim(ill.pk, REHEARING), "disk_full", counts=False)
    tasks.hear_anew()
    assert sent == [str(other.pk)]


# -- the work --------------------------------------------------------------------------------------


@pytest.fixture
def heard(enrolment, monkeypatch, sent) -> Clip:
    """The demo's clip with what an earlier engine is said to have heard in it."""
    monkeypatch.setattr(services, "dispatch", lambda pk, kind: None)
    clip = services.receive(enrolment, enrolment.pupil, [SAMPLE.read_bytes()], "clip.mp4")
    tasks.listen_to_clip(str(clip.pk))
    Listening.objects.filter(clip=clip).update(engine=BEFORE, options=OPTIONS)
    rehearing.ask_for([clip])
    return clip


def test_a_clip_is_heard_anew_as_the_engine_was_told_then(heard):
    made = list(heard.renditions.values_list("path", flat=True))
    tasks.hear_clip_anew(clip_id=str(heard.pk))
    first, second = heard.listenings.all()
    assert (first.engine, second.engine) == (BEFORE, ENGINE)
    assert {name: second.options[name] for name in OPTIONS} == OPTIONS
    assert not heard.stages.filter(kind=REHEARING).exists(), "it leaves no row"
    assert heard.stages.get(kind="listening").state == Stage.State.HEARD
    assert list(heard.renditions.values_list("path", flat=True)) == made
    heard.review.refresh_from_db()
    assert heard.review.double_stops_heard > 0
    tasks.hear_clip_anew(clip_id=str(heard.pk))
    assert heard.listenings.count() == 2


def test_a_failure_leaves_what_was_heard_and_no_page_says_it(heard, monkeypatch):
    from studio.review.web.shared import clip_states

    def fail(*args, **more):
        raise renditions.media.Refused("unreadable")

    monkeypatch.setattr(renditions.media, "extract_sound", fail)
    before = clip_states.of(Clip.objects.get(pk=heard.pk))
    tasks.hear_clip_anew(clip_id=str(heard.pk))
    assert heard.stages.get(kind=REHEARING).state == Stage.State.FAILED
    assert heard.listenings.count() == 1
    assert clip_states.of(Clip.objects.get(pk=heard.pk)) == before
    assert not rehearing.is_promised(heard.pk)


def test_it_stops_once_a_new_clip_waits_and_costs_no_attempt(heard, monkeypatch):
    monkeypatch.setattr(rehearing, "LOOK_S", 0.0)
    real = renditions.media.extract_sound

    def one_comes(*args, **more):
        new_clip(heard)
        return real(*args, **more)

    monkeypatch.setattr(renditions.media, "extract_sound", one_comes)
    tasks.hear_clip_anew(clip_id=str(heard.pk))
    stage = heard.stages.get(kind=REHEARING)
    assert (stage.state, stage.attempt, stage.failure_code) == (Stage.State.WAITING, 0, "")
    assert heard.listenings.count() == 1
    assert not Rendition.objects.filter(kind=Rendition.Kind.SOUND).exists()


def test_a_commit_that_failed_is_tried_again_and_writes_once(heard, monkeypatch):
    """The database goes away in the middle of writing the result, once."""
    real, failures = renditions.pace.note, [OperationalError("it is away")]

    def note(*args) -> None:
        if failures:
            raise failures.pop()
        real(*args)

    monkeypatch.setattr(renditions.pace, "note", note)
    monkeypatch.setattr(leases, "PAUSE_S", 0.0)
    monkeypatch.setattr(leases, "connection", Reconnecting())
    tasks.hear_clip_anew(clip_id=str(heard.pk))
    assert heard.listenings.count() == 2
    assert not heard.stages.filter(kind=REHEARING).exists()


class Reconnecting:
    """Stands for a connection outside any transaction, which the tests' own are never."""

    in_atomic_block = False

    def close(self) -> None:
        pass

    def close_if_unusable_or_obsolete(self) -> None:
        pass
