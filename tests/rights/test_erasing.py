"""What is asked to be erased is gone at once for people, and then from the disk."""

from datetime import timedelta
from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.urls import reverse
from django.utils import timezone

from studio.accounts import audit, lesson_endings, letters
from studio.accounts.models import (
    AuditEntry,
    Consent,
    Enrolment,
    GuardianLink,
    Letter,
    Membership,
    Notice,
    OpenSession,
    Person,
)
from studio.clips.models import Clip, Original, Upload
from studio.clips.storage import erasure_log
from studio.clips.storage.stores import store
from studio.clips.uploads import partial
from studio.clips.uploads import services as uploads
from studio.review.models import Comment, Return, Review
from studio.rights.erasure import dispatch, free_pages, requests, rows, work
from studio.rights.models import ErasureJob
from tests.cast import as_person, guard, make_clip, make_drill, make_return, person, set_for
from tests.rights.erasing import with_file, worked


@pytest.fixture(autouse=True)
def place(settings, tmp_path, monkeypatch):
    settings.MEDIA_ROOT = tmp_path / "media"
    # What the database leaves behind is tried in test_no_byte_is_left.py.
    monkeypatch.setattr(free_pages, "overwrite", lambda *args, **more: True)


# -- one clip ------------------------------------------------------------------------------


def test_a_clip_is_gone_at_once_and_then_from_the_disk(cast):
    clip, other = make_clip(cast.enrolment), make_clip(cast.enrolment, "Another")
    make_return(clip)
    name, kept = with_file(clip), with_file(other)
    job = requests.erase_clip(clip, cast.guardian)
    for who in (cast.teacher, cast.pupil, cast.guardian):
        assert as_person(who).get(f"/clips/{clip.pk}/").status_code == 404
    worked(job)
    assert not Clip.objects.filter(pk=clip.pk).exists()
    assert not Return.objects.exists()
    assert not Comment.objects.exists()
    assert [entry.name for entry in store().entries("clips")] == [kept]
    assert name not in kept
    assert erasure_log.noted() == [clip.pk]
    assert Review.objects.count() == 1
    assert (job.state, job.clips, job.whose) == (ErasureJob.State.ERASED, [], None)


def test_the_studios_log_says_that_a_clip_was_erased_without_its_number(cast):
    clip = make_clip(cast.enrolment)
    audit.record(audit.Act.RETURNED, by=cast.teacher, studio=cast.studio, clip=clip.pk)
    worked(requests.erase_clip(clip, cast.guardian))
    assert AuditEntry.objects.filter(act="erased").exists()
    assert not AuditEntry.objects.filter(clip_id=clip.pk).exists()


# -- lessons -------------------------------------------------------------------------------


def test_all_about_a_pupil_goes_and_what_is_others_stays(cast):
    clip = make_clip(cast.enrolment)
    make_return(clip)
    drill = make_drill(cast.teacher, cast.studio)
    set_for(cast.enrolment, drill)
    others = make_clip(cast.other_enrolment)
    make_return(others)
    Notice.objects.create(to=cast.teacher, text=f"{cast.pupil} has a new instrument.")
    Notice.objects.create(to=cast.colleague, text=f"{cast.pupil}s and more")
    letters.post_of_lessons(cast.guardian, f"Of {cast.pupil}", f"{cast.pupil}", ["set"])
    job = requests.erase_lessons(cast.pupil, cast.studio, cast.guardian)
    page = as_person(cast.teacher).get("/pupils/").content.decode()
    assert cast.pupil.name not in page
    worked(job)
    assert not Person.objects.filter(pk=cast.pupil.pk).exists()  # a child with no other lessons
    assert not GuardianLink.objects.exclude(pupil=cast.other_pupil).filter(guardian=cast.guardian)
    assert [one.pk for one in Clip.objects.all()] == [others.pk]
    assert Return.objects.get().review.clip == others
    assert drill.versions.exists()
    left = [notice.text for notice in Notice.objects.all()]
    assert f"{cast.pupil}s and more" in left
    assert f"{cast.pupil} has a new instrument." not in left
    assert any("one of your pupils" in text for text in left)
    assert not Letter.objects.exists()
    told = Notice.objects.get(to=cast.guardian).text
    assert "off the disk" in told
    assert cast.pupil.name not in told


def test_the_other_guardian_and_the_teachers_are_told_and_nobody_is_named(cast):
    father = person("Halvard Sandholm", cast.studio, "guardian")
    guard(father, cast.pupil, cast.studio)
    requests.erase_lessons(cast.pupil, cast.studio, cast.guardian)
    told = {notice.to: notice.text for notice in Notice.objects.all()}
    assert told.keys() == {father, cast.teacher, cast.colleague}
    assert "a child you answered for" in told[father]
    assert not any(cast.pupil.name in text for text in told.values())


def test_the_account_of_a_child_with_lessons_elsewhere_stays(cast):
    Membership.objects.create(person=cast.pupil, studio=cast.other_studio, role="pupil")
    elsewhere = Enrolment.objects.create(
        pupil=cast.pupil, studio=cast.other_studio, teacher=cast.foreign_teacher
    )
    clip = make_clip(elsewhere)
    worked(requests.erase_lessons(cast.pupil, cast.studio, cast.guardian))
    cast.pupil.refresh_from_db()
    assert cast.pupil.is_active
    assert Clip.objects.get() == clip
    assert [one.studio for one in cast.pupil.memberships.all()] == [cast.other_studio]


def test_a_grown_up_pupil_keeps_the_account_and_what_she_is_besides(cast):
    Person.objects.filter(pk=cast.pupil.pk).update(birth_year=1990)
    cast.pupil.refresh_from_db()
    GuardianLink.objects.create(guardian=cast.pupil, pupil=cast.other_pupil, studio=cast.studio)
    Membership.objects.create(person=cast.pupil, studio=cast.studio, role="guardian")
    worked(requests.erase_lessons(cast.pupil, cast.studio, cast.pupil))
    cast.pupil.refresh_from_db()
    assert cast.pupil.is_active
    assert not cast.pupil.enrolments.exists()
    assert cast.pupil.guarded.get().pupil == cast.other_pupil
    assert [one.role for one in cast.pupil.memberships.all()] == ["guardian"]


def test_it_can_be_asked_for_after_the_lessons_have_ended(cast):
    make_clip(cast.enrolment)
    lesson_endings.end_lessons(cast.enrolment, by=cast.teacher)
    browser = as_person(cast.guardian)
    assert browser.get(reverse("kept_clips", args=[cast.enrolment.pk])).status_code == 200
    answer = browser.post(reverse("erase_lessons", args=[cast.enrolment.pk]))
    assert answer.url.startswith("/rights/erased/")
    worked(ErasureJob.objects.get())
    assert not Clip.objects.exists()


def test_an_upload_on_its_way_goes(cast):
    upload = uploads.begin(cast.enrolment, cast.pupil, 9, "")
    path = partial.path(upload.pk)
    assert path.exists()
    worked(requests.erase_lessons(cast.pupil, cast.studio, cast.guardian))
    assert not path.exists()
    assert not Upload.objects.exists()


def test_a_clip_that_came_in_between_goes_too(cast):
    job = requests.erase_lessons(cast.pupil, cast.studio, cast.guardian)
    late = make_clip(cast.enrolment)
    worked(job)
    assert not Clip.objects.exists()
    assert late.pk in erasure_log.noted()


def test_every_table_of_a_studio_says_whether_it_is_of_lessons():
    """What a pupil has there is found by a lookup to her; the rest is of who works there."""
    left = [
        entry.model.__name__
        for entry in rows.in_order()
        if entry.studio and entry.subjects and entry.find is None
        if not [way for way in entry.subjects if way.rpartition("__")[2] in rows.AS_PUPIL]
    ]
    assert sorted(left) == sorted((*rows.NOT_OF_LESSONS, "Membership"))


def test_tables_come_before_those_that_they_point_to():
    order = [entry.model for entry in rows.in_order()]
    assert len(order) > 30
    for number, model in enumerate(order):
        for field in model._meta.concrete_fields:
            target = field.related_model
            if target in order and target is not model:
                assert order.index(target) > number


# -- accounts ------------------------------------------------------------------------------


def test_a_guardians_account_goes_but_what_she_agreed_to_stays_without_her_name(cast):
    browser = as_person(cast.guardian)
    answer = browser.post(reverse("erase_account"))
    job = ErasureJob.objects.get()
    assert answer.url == reverse("erasure", args=[job.pk])
    assert browser.get("/children/").status_code == 302  # to the log-in
    assert browser.get(answer.url).status_code == 200  # without one
    worked(job)
    gone = Person.objects.get(pk=cast.guardian.pk)
    assert (gone.name, gone.is_active) == ("erased", False)
    assert cast.guardian.email != gone.email
    assert Consent.objects.get(pupil=cast.pupil).given_by == gone
    assert not OpenSession.objects.filter(person=gone).exists()
    assert job.asked_by is None


def test_an_account_that_nothing_names_goes_whole(cast):
    make_clip(cast.other_enrolment)
    Person.objects.filter(pk=cast.other_pupil.pk).update(birth_year=1990)
    cast.other_pupil.refresh_from_db()
    worked(requests.erase_account(cast.other_pupil, cast.other_pupil))
    assert not Person.objects.filter(pk=cast.other_pupil.pk).exists()
    assert not Clip.objects.exists()


def test_consent_rests_when_the_last_who_decided_is_gone_and_is_said_without_a_name(cast):
    worked(requests.erase_account(cast.guardian, cast.guardian))
    assert Consent.objects.get(pupil=cast.pupil).rests_since is not None
    said = [notice.text for notice in Notice.objects.filter(to=cast.pupil)]
    assert any("It rests" in text for text in said)
    assert not any(cast.guardian.name in text for text in said)


def test_a_child_is_told_who_decides(cast):
    answer = as_person(cast.pupil).post(reverse("erase_account"))
    assert answer.status_code == 409
    assert cast.guardian.name in answer.content.decode()
    assert not ErasureJob.objects.exists()


def test_a_teacher_leaves_the_studio_first(cast):
    answer = as_person(cast.teacher).post(reverse("erase_account"))
    assert answer.status_code == 409
    assert "You teach at" in answer.content.decode()
    cast.teacher.refresh_from_db()
    assert cast.teacher.is_active


def test_a_teacher_who_left_is_named_nowhere_and_what_she_said_stays(cast):
    clip = make_clip(cast.enrolment)
    make_return(clip, "Listen to the upper note.")
    cast.teacher.memberships.update(ended_on=timezone.localdate() - timedelta(days=1))
    worked(requests.erase_account(cast.teacher, cast.teacher))
    page = as_person(cast.pupil).get(f"/clips/{clip.pk}/").content.decode()
    assert "Listen to the upper note." in page
    assert cast.teacher.name not in page
    assert cast.teacher.name not in str(Return.objects.get().snapshot)


# -- asking --------------------------------------------------------------------------------


def test_an_old_log_in_is_asked_who_is_there(cast):
    browser = as_person(cast.guardian)
    session = browser.session
    session["since"] = (timezone.now() - timedelta(hours=1)).isoformat()
    session.save()
    for ask in (browser.get, browser.post):
        answer = ask(reverse("erase_lessons", args=[cast.enrolment.pk]))
        assert answer.url.startswith(reverse("account_again"))
    assert not ErasureJob.objects.exists()


def test_the_page_says_what_goes_when_and_what_stays(cast, settings):
    settings.BACKUP_FOLDER, settings.BACKUP_KEEP = "/backups", (7, 5, 3)
    settings.BACKUP_ERASED_DAYS = 30
    make_clip(cast.enrolment)
    page = as_person(cast.guardian).get(reverse("erase_lessons", args=[cast.enrolment.pk]))
    said = page.content.decode()
    for words in ("within 24 hours", "within 31 days", "within 124 days", "cannot be brought back"):
        assert words in said
    assert reverse("rights") in said


def test_who_had_an_address_gets_one_letter_of_which_nothing_is_left(cast, settings, mailoutbox):
    settings.MAIL = {"EMAIL_HOST": "mail.example"}
    job = requests.erase_account(cast.guardian, cast.guardian)
    assert job.letter_to == cast.guardian.email
    worked(job)
    assert job.letter_to == ""
    letter = Letter.objects.get(kind=Letter.Kind.ERASED)
    assert cast.guardian.name not in letter.body
    letters.send_due()
    assert [one.to for one in mailoutbox if one.subject == "It is erased"] == [
        [cast.guardian.email]
    ]
    assert not Letter.objects.filter(kind=Letter.Kind.ERASED).exists()


def test_what_was_lost_in_the_queue_is_sent_again(cast, monkeypatch):
    job = requests.erase_clip(make_clip(cast.enrolment), cast.guardian)
    long_ago = timezone.now() - timedelta(minutes=5)
    ErasureJob.objects.update(changed_at=long_ago, dispatched_at=None)
    sent = []
    monkeypatch.setattr(dispatch, "dispatch", sent.append)
    dispatch.send_lost()
    assert sent == [job.pk]


def test_a_worker_that_is_killed_in_the_middle_is_followed_by_one_that_goes_on(cast, monkeypatch):
    """GIVEN two clips WHEN the worker dies after the first THEN the next one erases the rest."""
    clips = [make_clip(cast.enrolment, str(number)) for number in range(2)]
    names = [with_file(clip) for clip in clips]
    job = requests.erase_lessons(cast.pupil, cast.studio, cast.guardian)
    erase_clip, done = work.erase_clip, []

    def dies(clip):
        if done:
            raise KeyboardInterrupt
        done.append(clip)
        erase_clip(clip)

    monkeypatch.setattr(work, "erase_clip", dies)
    with pytest.raises(KeyboardInterrupt):
        work.erase(dispatch.claim(str(job.pk)))
    assert Clip.objects.count() == 1
    monkeypatch.setattr(work, "erase_clip", erase_clip)
    ErasureJob.objects.update(lease_until=timezone.now() - timedelta(minutes=5))
    worked(job)
    assert not Clip.objects.exists()
    assert not Original.objects.exists()
    assert list(store().entries("clips")) == []
    assert len(names) == 2
    assert not Person.objects.filter(pk=cast.pupil.pk).exists()


# -- by command ----------------------------------------------------------------------------


def said_by(*arguments: str) -> str:
    out = StringIO()
    call_command(*arguments, stdout=out)
    return out.getvalue()


def test_a_command_says_what_goes_and_does_it_once_told_so(cast):
    clip = make_clip(cast.enrolment)
    said = said_by("erase_clip", str(clip.pk))
    assert "It cannot" not in said
    assert "it cannot be brought back" in said
    assert Clip.objects.filter(erased_at=None).exists()
    assert "Erased." in said_by("erase_clip", str(clip.pk), "--yes")
    assert not Clip.objects.exists()
    with pytest.raises(CommandError, match="no clip"):
        said_by("erase_clip", str(clip.pk))


def test_a_command_erases_lessons_or_all_of_a_person(cast):
    make_clip(cast.enrolment)
    here = ("--studio", cast.studio.name)
    assert cast.pupil.first_name in said_by("erase_person", cast.pupil.name, *here)
    assert "Erased." in said_by("erase_person", cast.pupil.name, *here, "--yes")
    assert not Person.objects.filter(pk=cast.pupil.pk).exists()
    assert "Erased." in said_by("erase_person", cast.guardian.email, "--yes")
    assert not Person.objects.filter(email=cast.guardian.email).exists()


def test_a_command_refuses_in_a_sentence(cast):
    for arguments, why in (
        (("nobody@n.example",), "Nobody logs in"),
        ((cast.teacher.email,), "teaches at"),
        (("Nobody", "--studio", cast.studio.name), "No pupil"),
        (("Nobody", "--studio", "None"), "no studio"),
    ):
        with pytest.raises(CommandError, match=why):
            said_by("erase_person", *arguments, "--yes")
