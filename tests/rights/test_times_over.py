"""What had been kept for its time is told, and then erased as if somebody had asked for it.

Regulation (EU) 2016/679, article 5(1)(e) (storage limitation); what is told, and when: chosen.
"""

from datetime import date, timedelta
from io import StringIO

import pytest
from django.core.management import call_command
from django.urls import reverse
from django.utils import timezone

from studio import figures
from studio.accounts import lesson_endings, retention
from studio.accounts import retention_settings as settings_of
from studio.accounts.models import (
    AuditEntry,
    Consent,
    Enrolment,
    Letter,
    Notice,
    Person,
    RetentionTerms,
)
from studio.accounts.retention import WARNED_DAYS, WITH_RECORDING, Terms
from studio.clips import recordings
from studio.clips.models import Clip, Stage
from studio.clips.storage import erasure_log, spool
from studio.clips.storage.stores import store
from studio.drills.models import Assignment, PracticeEntry
from studio.drills.practice import services as practice
from studio.drills.practice.services import Practised
from studio.review.comments import CommentText, add_comment
from studio.review.models import Decision, Return
from studio.rights.erasure import free_pages
from studio.rights.models import Copy, ErasureJob
from studio.rights.retention import rounds
from tests.browser.every_page import PLAYED_TWICE
from tests.cast import as_person, make_clip, make_drill, make_return, set_for
from tests.review.heard_clip import heard_clip
from tests.rights.erasing import with_file, worked

TODAY = date(2026, 12, 3)
FIRST = date(2027, 1, 1)  # what is due by then goes then
YEAR = Terms(recordings=365, figures=None, drills=365, after_end=365)


@pytest.fixture(autouse=True)
def place(settings, tmp_path, monkeypatch):
    settings.MEDIA_ROOT = tmp_path / "media"
    settings.MAIL = {"EMAIL_HOST": "mail.example"}
    # What the database leaves behind is tried in test_no_byte_is_left.py.
    monkeypatch.setattr(free_pages, "overwrite", lambda *args, **more: True)


@pytest.fixture
def year(cast) -> RetentionTerms:
    """A year, agreed to by everybody."""
    row = settings_of.change(cast.studio, YEAR)
    Consent.objects.filter(studio=cast.studio).update(terms=row)
    Notice.objects.all().delete()
    Letter.objects.all().delete()
    return row


def clip_of(place: Enrolment, sent: date, title: str = "Sixths") -> Clip:
    clip = make_clip(place, title)
    at = timezone.make_aware(timezone.datetime(sent.year, sent.month, sent.day, 12))
    Clip.objects.filter(pk=clip.pk).update(created_at=at)
    clip.refresh_from_db()
    return clip


def told() -> dict[Person, str]:
    return {notice.to: notice.text for notice in Notice.objects.all()}


# -- before it goes ------------------------------------------------------------------------


def test_everybody_is_told_once_in_time_and_how_to_keep_it(cast, year):
    clip = clip_of(cast.enrolment, date(2026, 1, 1))
    later = clip_of(cast.enrolment, date(2026, 1, 2))
    for _ in range(2):  # again by the next round: nothing more
        rounds.go_round(TODAY)
    clip.refresh_from_db()
    later.refresh_from_db()
    assert (clip.recording_goes_on, clip.goes_on) == (FIRST, None)
    assert later.recording_goes_on is None
    assert (FIRST - TODAY).days >= WARNED_DAYS
    said = told()
    assert Notice.objects.count() == len(said) == 3
    what = "On 1 January 2027 this goes at Larkhill strings"
    assert all(text.startswith(what) for text in said.values())
    assert "1 recording of Mira Sandholm (what was measured and said stays)" in said[cast.guardian]
    assert "press Make a copy under Your data" in said[cast.guardian]
    assert "To keep a copy, ask Edda Sandholm" in said[cast.pupil]
    assert "The families are told" in said[cast.teacher]
    addresses = {cast.guardian.email, cast.pupil.email, cast.teacher.email}
    assert set(Letter.objects.values_list("to", flat=True)) == addresses


def test_what_is_long_over_when_times_are_set_is_told_first(cast, year):
    clip_of(cast.enrolment, date(2020, 1, 1))
    rounds.go_round(TODAY)
    rounds.go_round(FIRST - timedelta(days=1))
    assert not ErasureJob.objects.exists()
    rounds.go_round(FIRST)
    assert ErasureJob.objects.count() == 1


def test_the_pages_say_it_to_teacher_pupil_and_guardian(cast, year):
    clip = clip_of(cast.enrolment, date(2026, 1, 1))
    make_return(clip)
    rounds.go_round(TODAY)
    for who in (cast.teacher, cast.pupil, cast.guardian):
        shown = as_person(who).get(f"/clips/{clip.pk}/").text
        assert "The recording of this clip goes on 1 January 2027" in shown
        assert ("Take a copy" in shown) is (who == cast.guardian)
    shown = as_person(cast.guardian).get("/rights/").text
    assert "On 1 January 2027 this goes: 1 recording of Mira Sandholm" in shown


def test_what_is_kept_longer_by_then_does_not_go(cast, year):
    clip = clip_of(cast.enrolment, date(2026, 1, 1))
    rounds.go_round(TODAY)
    longer = settings_of.change(cast.studio, Terms(730, None, 730, 365))
    rounds.go_round(FIRST)  # the guardian has not agreed to that: it goes
    assert ErasureJob.objects.count() == 1
    other = clip_of(cast.enrolment, date(2026, 1, 20))
    rounds.go_round(FIRST)
    Consent.objects.filter(studio=cast.studio).update(terms=longer)
    rounds.go_round(date(2027, 2, 1))
    other.refresh_from_db()
    assert (other.recording_goes_on, ErasureJob.objects.count()) == (None, 1)
    assert Clip.objects.filter(pk=clip.pk).exists()


def test_a_studio_without_times_lets_nothing_go(cast):
    clip_of(cast.enrolment, date(2001, 1, 1))
    rounds.go_round(TODAY)
    assert not Notice.objects.exists()
    assert not Clip.objects.exclude(goes_on=None, recording_goes_on=None).exists()


# -- the recording goes, what was said stays -----------------------------------------------


def test_the_recording_goes_and_what_was_measured_and_said_can_be_read(cast, year):
    clip = clip_of(cast.enrolment, date(2026, 1, 1))
    make_return(clip, "Listen to the upper note.")
    Stage.objects.update_or_create(clip=clip, kind="playback", defaults={"state": "playable"})
    name = with_file(clip)
    other = with_file(clip_of(cast.other_enrolment, date(2026, 11, 1)))
    for day in (TODAY, FIRST):
        rounds.go_round(day)
    job = worked(ErasureJob.objects.get())
    assert (job.kind, job.recordings, job.asked_by) == (ErasureJob.Kind.OVER, [], None)
    assert [entry.name for entry in store().entries("clips")] == [other] != [name]
    clip.refresh_from_db()
    assert clip.recording_gone_at is not None
    assert not clip.renditions.exists()
    assert erasure_log.noted_recordings() == [clip.pk]
    assert erasure_log.noted() == []
    for who in (cast.teacher, cast.pupil, cast.guardian):
        browser = as_person(who)
        shown = browser.get(f"/clips/{clip.pk}/").text
        assert "The recording went on" in shown
        assert "Listen to the upper note." in shown
        assert browser.get(f"/clips/{clip.pk}/media/").status_code == 404
    assert AuditEntry.objects.filter(act="erased", detail="1 recording: its time was over").exists()


def test_where_the_recording_is_gone_nothing_offers_to_play_it(cast):
    """What moves in the sound picture, and the made-up target, stay: they need no recording."""
    clip = heard_clip(cast.enrolment)
    add_comment(clip.review, cast.teacher, CommentText("bow", "Less", 1.0))
    desk, address = as_person(cast.teacher), f"/clips/{clip.pk}/"
    before = desk.get(address).text
    clip.viewings.all().delete()
    recordings.let_go(clip.pk)
    shown = desk.get(address).text
    acts = ("play", "back-1", "forward-5", "slower", "faster", "loop", "draw")
    for needs in (
        *(f'data-act="{act}"' for act in acts),
        "Play the comment",
        "Voice or video reply",
    ):
        assert needs in before, needs
        assert needs not in shown, needs
    for stays in ('data-act="zoom-in"', 'data-act="target"', "nothing of it can be seen or heard"):
        assert stays in shown, stays
    assert (
        "Hear one, then"
        not in desk.get(reverse("desk_playings", args=[clip.pk, PLAYED_TWICE])).text
    )
    reply = {"text": "Hear", "start_s": "1.0", "form_key": "k", "kind": "bow", "drawing": "{}"}
    answer = desk.post(reverse("desk_comment_add", args=[clip.pk]), reply)
    assert answer.status_code == 422
    assert "Say it in words" in answer.text
    make_return(clip)
    home = as_person(cast.pupil).get(address).text
    assert not clip.viewings.exists(), "who opens the desk watches nothing any more"
    for needs in ("Play moment", "data-go=", "data-hear=", "<video", "<audio"):
        assert needs not in home, needs


def test_whole_clips_go_with_all_that_was_said(cast, year):
    row = settings_of.change(cast.studio, Terms(365, WITH_RECORDING, None, None))
    Consent.objects.filter(studio=cast.studio).update(terms=row)
    clip = clip_of(cast.enrolment, date(2026, 1, 1))
    make_return(clip)
    kept = clip_of(cast.enrolment, date(2026, 6, 1))
    for day in (TODAY, FIRST):
        rounds.go_round(day)
    assert as_person(cast.guardian).get(f"/clips/{clip.pk}/").status_code == 404  # at once
    worked(ErasureJob.objects.get())
    assert [one.pk for one in Clip.objects.all()] == [kept.pk]
    assert not Return.objects.exists()
    assert not Decision.objects.exists()
    assert erasure_log.noted() == [clip.pk]


def test_drills_go_and_the_answer_that_set_them_still_says_their_name(cast, year):
    drill = make_drill(cast.teacher, cast.studio)
    old, open_one = set_for(cast.enrolment, drill), set_for(cast.enrolment, drill)
    long_ago = timezone.make_aware(timezone.datetime(2025, 6, 1))
    Assignment.objects.filter(pk=old.pk).update(set_at=long_ago, done_at=long_ago)
    Assignment.objects.filter(pk=open_one.pk).update(set_at=long_ago + timedelta(days=400))
    clip = clip_of(cast.enrolment, date(2026, 6, 1))
    returned = make_return(clip)
    returned.snapshot["drills"] = [{"assignment": old.pk, "title": "Slow sixths", "goal": ""}]
    returned.save()
    for day in (TODAY, FIRST):
        rounds.go_round(day)
    worked(ErasureJob.objects.get())
    assert [one.pk for one in Assignment.objects.all()] == [open_one.pk]
    shown = as_person(cast.pupil).get(f"/clips/{clip.pk}/").text
    assert "Slow sixths" in shown
    assert f"/assignments/{old.pk}/" not in shown


def test_what_was_noted_of_practice_goes_a_year_after_its_day_and_is_told_before(cast, year):
    last, first_left = FIRST - timedelta(days=365), FIRST - timedelta(days=364)
    for day in (last, first_left):
        practice.note(cast.enrolment, cast.pupil, Practised(day, 15, word="slow"))
    rounds.go_round(TODAY)
    assert "1 entry of practice of yours (noted long ago)" in told()[cast.pupil]
    shown = as_person(cast.guardian).get("/rights/").text
    assert "1 entry of practice of Mira Sandholm" in shown
    assert PracticeEntry.objects.count() == 2
    rounds.go_round(FIRST)
    worked(ErasureJob.objects.get())
    assert [one.day for one in PracticeEntry.objects.all()] == [first_left]


def test_what_was_noted_of_practice_stays_where_longer_times_hold_by_then(cast, year):
    entry = practice.note(cast.enrolment, cast.pupil, Practised(FIRST - timedelta(days=365), 15))
    rounds.go_round(TODAY)
    longer = settings_of.change(cast.studio, Terms(730, None, 730, 365))
    Consent.objects.filter(studio=cast.studio).update(terms=longer)
    rounds.go_round(FIRST)
    entry.refresh_from_db()
    assert entry.goes_on is None


def test_what_is_left_of_ended_lessons_goes_with_the_childs_account(cast, year):
    clip_of(cast.enrolment, date(2026, 11, 1))
    lesson_endings.end_lessons(cast.enrolment, cast.teacher)
    Enrolment.objects.filter(pk=cast.enrolment.pk).update(ended_on=date(2025, 12, 20))
    Notice.objects.all().delete()
    rounds.go_round(TODAY)
    assert "all that is left of Mira Sandholm’s lessons" in told()[cast.guardian]
    assert cast.teacher not in told()  # nothing of it is the studio's any more
    rounds.go_round(FIRST)
    assert "its time was over since the lessons ended" in told()[cast.guardian]
    worked(ErasureJob.objects.get())
    assert not Person.objects.filter(pk=cast.pupil.pk).exists()
    assert len(erasure_log.noted_people()) == 2


def test_who_came_back_keeps_the_lessons_of_before(cast, year):
    Enrolment.objects.filter(pk=cast.enrolment.pk).update(ended_on=date(2025, 12, 20))
    rounds.go_round(TODAY)
    new = Enrolment.objects.create(pupil=cast.pupil, studio=cast.studio, teacher=cast.teacher)
    assert new.ended_on is None
    rounds.go_round(FIRST)
    assert not ErasureJob.objects.exists()
    assert not Enrolment.objects.exclude(goes_on=None).exists()


def test_the_studios_log_goes_after_its_own_time_and_its_page_says_so_before(cast, year):
    row = settings_of.change(cast.studio, YEAR, log_days=365)
    old = AuditEntry.objects.filter(studio=cast.studio).first()
    AuditEntry.objects.filter(pk=old.pk).update(at=timezone.now() - timedelta(days=500))
    today = timezone.localdate(row.set_at)
    cut = retention.next_log_cut(row, today)
    assert cut.on.day == 1
    assert (cut.on - today).days >= WARNED_DAYS
    page = as_person(cast.teacher).get(reverse("audit_log")).text
    assert f"On {figures.long_date(cut.on)} 1 line goes" in page
    rounds.go_round(cut.on - timedelta(days=1))
    assert AuditEntry.objects.filter(pk=old.pk).exists()
    rounds.go_round(cut.on)
    assert not AuditEntry.objects.filter(pk=old.pk).exists()
    assert AuditEntry.objects.filter(studio=cast.studio).exists()
    assert retention.next_log_cut(row, cut.on).on > cut.on
    assert "line goes" not in as_person(cast.teacher).get(reverse("audit_log")).text


# -- one after the other -------------------------------------------------------------------


def test_a_copy_that_waits_to_be_fetched_holds_it_up_for_a_week_at_most(cast, year):
    clip_of(cast.enrolment, date(2026, 1, 1))
    rounds.go_round(TODAY)
    said = {"asked_by": cast.guardian, "about": cast.pupil, "studio": cast.studio}
    Copy.objects.create(**said, state="ready", ready_at=timezone.now())
    rounds.go_round(FIRST)
    rounds.go_round(FIRST + timedelta(days=6))
    assert not ErasureJob.objects.exists()
    rounds.go_round(FIRST + timedelta(days=7))
    assert ErasureJob.objects.count() == 1


def test_two_rounds_make_one_erasure_and_a_killed_worker_leaves_none_behind(cast, year):
    clip = clip_of(cast.enrolment, date(2026, 1, 1))
    with_file(clip)
    for day in (TODAY, FIRST, FIRST):
        rounds.go_round(day)
    job = ErasureJob.objects.get()
    assert recordings.let_go(clip.pk)  # as far as a worker came before it died
    worked(job)
    assert list(store().entries(spool.clip_folder(clip.pk))) == []
    assert not recordings.let_go(clip.pk)


# -- the owner and the operator ------------------------------------------------------------


def test_the_owner_reads_what_would_go_before_it_is_kept(cast):
    Consent.objects.filter(studio=cast.studio).delete()
    clip_of(cast.enrolment, date(2020, 1, 1))
    browser = as_person(cast.teacher)
    chosen = {"recordings": "365"} | dict.fromkeys(
        ("figures", "drills", "after_end", "log"), "never"
    )
    read = browser.post("/rights/times/", chosen).text
    assert "of 1 pupil: 1 recording (what was said stays)" in read
    assert not RetentionTerms.objects.exists()
    assert browser.post("/rights/times/", chosen | {"sure": "yes"}).status_code == 302
    assert retention.of_studio(cast.studio) == Terms(365, None)
    assert "for a year after they were sent" in browser.get("/rights/times/").text
    wrong = browser.post("/rights/times/", chosen | {"figures": "92"})
    assert (wrong.status_code, "cannot go before" in wrong.text) == (422, True)


def test_the_command_says_sets_and_looks_at_once(cast):
    def said(*args: str) -> str:
        out = StringIO()
        call_command("retention", "--studio", cast.studio.name, *args, stdout=out)
        return out.getvalue()

    assert "until they are erased" in said()
    assert "Nothing was changed yet" in said("--recordings", "365", "--figures", "never")
    assert not RetentionTerms.objects.exists()
    assert "for a year after they were sent" in said(
        "--recordings", "365", "--figures", "never", "--log", "1096", "--yes"
    )
    clip_of(cast.enrolment, date(2020, 1, 1))
    assert "3 people were told" in said("--now")
    assert RetentionTerms.objects.get().log_days == 1096
