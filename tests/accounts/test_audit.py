"""What teachers and operators did is written with the act, and the owner reads it."""

from importlib import import_module
from io import StringIO

import pytest
from django.apps import apps
from django.core.management import CommandError, call_command

from studio.accounts import (
    audit,
    consent,
    handing_over,
    invitations,
    lesson_endings,
    passwords,
    services,
)
from studio.accounts.models import AuditEntry, GuardianLink, Membership, Person, Studio
from studio.clips import services as clips
from studio.clips.models import Clip
from studio.clips.upkeep import restore
from studio.review.marks import tolerances
from studio.review.models import Review
from studio.review.returning import services as reviews
from studio.rights.erasure import free_pages
from tests.cast import PASSWORD, as_person, make_clip, make_return

Act = AuditEntry.Act


def newest() -> AuditEntry:
    return AuditEntry.objects.first()


def told(entry: AuditEntry) -> tuple:
    return entry.act, entry.by, entry.studio, entry.about


def test_each_act_of_a_teacher_is_written(cast):
    teacher, studio, pupil = cast.teacher, cast.studio, cast.pupil
    invited, _ = invitations.invite(studio, "pupil", "Runa Feld", "runa@n.example", by=teacher)
    assert told(newest()) == (Act.INVITED, teacher, studio, None)
    assert newest().detail == "as pupil"
    invitations.cancel(studio, invited.pk, by=teacher)
    assert told(newest()) == (Act.INVITATION_TAKEN_BACK, teacher, studio, None)
    services.link_guardian(cast.unlinked_guardian, pupil, studio, by=teacher)
    assert told(newest()) == (Act.GUARDIAN_LINKED, teacher, studio, pupil)
    link = GuardianLink.objects.filter(guardian=cast.unlinked_guardian, ended_on=None).get()
    services.unlink_guardian(link, by=teacher)
    assert told(newest()) == (Act.GUARDIAN_UNLINKED, teacher, studio, pupil)
    passwords.make_link(pupil, by=teacher)
    assert told(newest()) == (Act.PASSWORD_LINK, teacher, studio, pupil)
    services.change_pupil(cast.enrolment, "advanced", "viola", 357.0, by=teacher)
    assert told(newest()) == (Act.SETTINGS, teacher, studio, pupil)
    clip = make_clip(cast.enrolment)
    make_return(clip)
    assert told(newest()) == (Act.RETURNED, teacher, studio, pupil)
    assert newest().clip_id == clip.pk
    lesson_endings.end_lessons(cast.enrolment, by=teacher)
    assert told(newest()) == (Act.LESSONS_ENDED, teacher, studio, pupil)
    colleague = Membership.objects.get(person=cast.colleague)
    handing_over.end_membership(colleague, by=teacher)
    assert told(newest()) == (Act.TEACHER_ENDED, teacher, studio, cast.colleague)


def test_by_the_pages_too(cast):
    browser = as_person(cast.teacher)
    browser.post("/people/answering/", {"answer_within_days": "5", "return_delay_min": "15"})
    assert told(newest()) == (Act.SETTINGS, cast.teacher, cast.studio, None)
    assert newest().detail == "answer within 5 days, seen after 15 min"
    cast.studio.refresh_from_db()
    assert cast.studio.answer_within_days == 5
    clip = make_clip(cast.enrolment)
    make_return(clip)
    as_person(cast.colleague).post(f"/clips/{clip.pk}/take-back/")
    assert {entry.by for entry in AuditEntry.objects.filter(clip_id=clip.pk)} >= {cast.teacher}


def test_a_return_is_taken_back_by_whoever_did(cast):
    Studio.objects.filter(pk=cast.studio.pk).update(return_delay_min=10)
    clip = make_clip(cast.enrolment)
    review = Review.objects.get(clip=clip)
    reviews.return_clip(review, cast.teacher, "Steadier.")
    reviews.take_back_return(review, by=cast.colleague)
    assert told(newest()) == (Act.RETURN_TAKEN_BACK, cast.colleague, cast.studio, cast.pupil)
    reviews.take_back_return(review, by=cast.colleague)  # a second press does nothing
    assert AuditEntry.objects.filter(act=Act.RETURN_TAKEN_BACK).count() == 1


def test_consent_is_written_once_for_each_time_it_was_given_or_withdrawn(cast):
    here = cast.enrolment, cast.guardian, "recordings"
    consent.withdraw(*here)
    assert told(newest()) == (Act.CONSENT_WITHDRAWN, cast.guardian, cast.studio, cast.pupil)
    assert newest().detail == "recordings of practice"
    consent.withdraw(*here)  # there is none left
    mark = consent.standing(cast.enrolment).mark
    for _ in range(2):  # the second finds it given
        consent.give(*here, mark)
    assert told(newest()) == (Act.CONSENT_GIVEN, cast.guardian, cast.studio, cast.pupil)
    acts = AuditEntry.objects.filter(act__startswith="consent").values_list("act", flat=True)
    assert list(acts) == [Act.CONSENT_GIVEN, Act.CONSENT_WITHDRAWN]


def test_consent_that_an_ended_link_leaves_to_nobody_is_said(cast):
    for link in GuardianLink.objects.filter(pupil=cast.pupil, ended_on=None):
        services.unlink_guardian(link, by=cast.teacher)
    assert told(newest())[0] == Act.GUARDIAN_UNLINKED
    assert newest().detail == "consent rests"


def test_a_clip_s_tolerance_is_written_with_its_cents(cast):
    clip = make_clip(cast.enrolment)
    review = Review.objects.get(clip=clip)
    usual = tolerances.in_force(review)
    chosen = {"perfect": 7.0, "other": 9.0}
    tolerances.choose(review, chosen, usual, by=cast.colleague)
    assert told(newest()) == (Act.TOLERANCE, cast.colleague, cast.studio, cast.pupil)
    assert newest().clip_id == clip.pk
    assert newest().detail == tolerances.in_words(chosen)
    tolerances.choose(review, chosen, chosen, by=cast.colleague)  # as it stands
    tolerances.choose(review, None, chosen, by=cast.teacher)
    assert (newest().by, newest().detail) == (cast.teacher, "as usual")
    assert AuditEntry.objects.filter(act=Act.TOLERANCE).count() == 2


def test_an_erased_clip_is_written_by_whom_and_why(cast, monkeypatch):
    # Not in a transaction; tests/rights/test_no_byte_is_left.py tries it.
    monkeypatch.setattr(free_pages, "overwrite", lambda *args, **more: True)
    mine, old, restored = (make_clip(cast.enrolment) for _ in range(3))
    Clip.objects.exclude(pk=restored.pk).update(intake=Clip.Intake.REFUSED)
    as_person(cast.pupil).post(f"/clips/{mine.pk}/put-away/")
    assert told(newest()) == (Act.ERASED, cast.pupil, cast.studio, cast.pupil)
    assert (newest().clip_id, newest().by_operator) == (mine.pk, False)
    Clip.objects.filter(pk=old.pk).update(created_at="2020-01-01T00:00Z")
    assert clips.put_refused_away() == 1
    assert (newest().clip_id, newest().by, newest().by_operator) == (old.pk, None, True)
    assert newest().detail == "it was refused, and its time was over"
    clips.erase(restored)
    Clip.objects.filter(pk=restored.pk).update(erased_at=None)
    assert restore.erase_again() == 1
    assert newest().detail == "again, after a backup was restored"
    clips.erase(restored)  # once more is nothing more
    assert AuditEntry.objects.filter(act=Act.ERASED).count() == 4
    page = as_person(cast.teacher).get("/people/done/").content.decode()
    assert "erased a clip" in page
    assert str(mine.pk) not in page, "nothing is there to be opened"


def test_an_act_that_fails_leaves_no_entry(cast, monkeypatch):
    def fails(*args):
        raise RuntimeError

    monkeypatch.setattr(services, "_tell_linked", fails)
    with pytest.raises(RuntimeError):
        services.link_guardian(cast.unlinked_guardian, cast.pupil, cast.studio, by=cast.teacher)
    with pytest.raises(invitations.NoLongerOpen):
        invitations.cancel(cast.studio, accepted_invitation(cast).pk, by=cast.teacher)
    acts = {entry.act for entry in AuditEntry.objects.all()}
    assert not acts & {Act.GUARDIAN_LINKED, Act.INVITATION_TAKEN_BACK}


def accepted_invitation(cast):
    invited, _ = invitations.invite(cast.studio, "teacher", "N", "n@n.example", by=cast.teacher)
    invitations.accept(invited, "Nora Ahlgren", PASSWORD)
    return invited


def test_commands_are_the_operator_s(cast):
    call_command("reset_password", cast.teacher.email, stdout=StringIO())
    assert told(newest()) == (Act.PASSWORD_LINK, None, None, cast.teacher)
    assert newest().by_operator


def test_entries_hold_no_names(cast):
    accepted_invitation(cast)
    passwords.make_link(cast.pupil, by=cast.teacher)
    for entry in AuditEntry.objects.all():
        for private in ("Nora", "Ahlgren", "@", "Sandholm"):
            assert private not in entry.detail
    consent.withdraw(cast.enrolment, cast.guardian, "recordings")


# -- reading -------------------------------------------------------------------------------


def test_the_owner_reads_her_own_studio_s_and_filters(cast):
    passwords.make_link(cast.pupil, by=cast.teacher)
    invitations.invite(cast.studio, "pupil", "R", "r@n.example", by=cast.colleague)
    passwords.make_link(cast.foreign_pupil, by=cast.foreign_teacher)
    browser = as_person(cast.teacher)
    everything = browser.get("/people/done/").content.decode()
    assert "made a link for a new password: Mira Sandholm" in " ".join(everything.split())
    assert "Foreign" not in everything
    of_colleague = browser.get(f"/people/done/?person={cast.colleague.pk}").content.decode()
    assert "invited somebody (as pupil)" in of_colleague
    assert "made a link for a new password:" not in of_colleague
    of_kind = browser.get("/people/done/?act=password_link").content.decode()
    assert "invited somebody (as" not in of_kind
    for odd in (
        "?page=x",
        "?page=999",
        "?person=x",
        "?act=none",
        f"?person={cast.foreign_pupil.pk}",
    ):
        assert browser.get(f"/people/done/{odd}").status_code == 200


def test_it_comes_in_pages_and_with_as_many_queries_for_many_rows(
    cast, django_assert_max_num_queries
):
    for number in range(120):
        audit.record(
            Act.SETTINGS, by=cast.teacher, studio=cast.studio, about=cast.pupil, detail=f"n{number}"
        )
    browser = as_person(cast.teacher)
    with django_assert_max_num_queries(25):
        first = browser.get("/people/done/").content.decode()
    assert first.count("<li>\n          <div>") == 50
    assert "(n119)" in first
    assert "?page=2&amp;act=settings" in browser.get("/people/done/?act=settings").content.decode()
    assert "(n0)" in browser.get("/people/done/?page=3").content.decode()


# -- the owner -----------------------------------------------------------------------------


def test_a_studio_s_first_teacher_owns_it_and_the_next_do_not(db):
    studio = Studio.objects.create(name="New studio")
    for name in ("First", "Second"):
        invited, _ = invitations.invite(studio, "teacher", name, f"{name}@n.example")
        invitations.accept(invited, name, PASSWORD)
    assert [row.person.name for row in audit.owners(studio)] == ["First"]


def test_no_colleague_ends_the_owner_s_place(cast):
    owner = Membership.objects.get(person=cast.teacher)
    assert as_person(cast.colleague).post(f"/people/teachers/{owner.pk}/end/").status_code == 404
    page = as_person(cast.colleague).get("/people/").content.decode()
    assert "owner of the studio" in page
    assert f"/people/teachers/{owner.pk}/end/" not in page
    assert "/people/done/" not in page


def test_the_operator_moves_ownership(cast):
    call_command("owner", cast.colleague.email, stdout=StringIO())
    assert [row.person for row in audit.owners(cast.studio)] == [cast.colleague]
    assert as_person(cast.teacher).get("/people/done/").status_code == 404
    assert as_person(cast.colleague).get("/people/done/").status_code == 200
    assert told(newest()) == (Act.OWNER_CHANGED, None, cast.studio, cast.colleague)
    for nobody in ("x@y.example", cast.pupil.email):
        with pytest.raises(CommandError, match="Nobody who logs in"):
            call_command("owner", nobody)


def test_studios_from_before_get_the_teacher_who_was_there_first(cast):
    Membership.objects.update(is_owner=False)
    name = next(
        module
        for module in ("0011", "0012", "0013", "0014", "0015")
        if _migration(module) is not None
    )
    _migration(name).name_owners(apps, None)
    assert {row.person for row in Membership.objects.filter(is_owner=True)} == {
        cast.teacher,
        cast.foreign_teacher,
    }


def _migration(number: str):
    try:
        return import_module(f"studio.accounts.migrations.{number}_owners_operators_audit")
    except ModuleNotFoundError:
        return None


def test_the_operator_s_right_is_given_and_taken(cast):
    said = StringIO()
    call_command("operator", add=cast.guardian.email.upper(), stdout=said)
    assert Person.objects.get(pk=cast.guardian.pk).is_operator
    assert cast.guardian.email in said.getvalue()
    assert told(newest()) == (Act.OPERATOR_CHANGED, None, None, cast.guardian)
    call_command("operator", remove=cast.guardian.email, stdout=StringIO())
    assert as_person(cast.guardian).get("/operator/").status_code == 404
    with pytest.raises(CommandError, match="Nobody logs in"):
        call_command("operator", add="x@y.example")
