"""A copy holds what is the pupil's, and nothing that is another person's; one person alone gets it.

Regulation (EU) 2016/679, article 15(4): a copy must not adversely affect the rights of others.
"""

import json
import os
import zipfile
from datetime import timedelta

import pytest
from django.utils import timezone

from studio.accounts import consent, lesson_endings, services
from studio.accounts.models import Consent, GuardianLink, Person
from studio.clips import services as clips
from studio.clips.storage.stores import FolderStore
from studio.clips.upkeep.orphans import sweep_orphans
from studio.clips.upkeep.verification import verify
from studio.review.models import Comment
from studio.rights import access
from studio.rights.copies import services as copies
from studio.rights.copies import work
from studio.rights.erasure import requests
from studio.rights.models import Copy
from studio.rights.tasks import erase
from tests.cast import agree, as_person
from tests.rights.copies import lessons
from tests.rights.copies.lessons import OTHER_GUARDIAN, OTHERS_TITLE, WORKING_NOTE

pytestmark = pytest.mark.django_db(transaction=True)


def content(copy: Copy) -> dict[str, bytes]:
    with lessons.at_rest(copy) as path, zipfile.ZipFile(path) as file:
        return {name: file.read(name) for name in file.namelist()}


def at_rest() -> list[str]:
    return sorted(entry.name for entry in FolderStore().entries(work.FOLDER))


def test_it_holds_what_the_pupil_may_see_and_nothing_of_others(furnished):
    copy = lessons.make(furnished.cast)
    files = content(copy)
    whole = b"\n".join(files.values())
    assert furnished.comment.text.partition("\n")[0].encode() in whole
    original = furnished.returned.original
    assert any(original.size_bytes == len(one) for one in files.values())
    for another in (WORKING_NOTE, OTHERS_TITLE, OTHER_GUARDIAN, "Prepared"):
        assert another.encode() not in whole
    for person in (furnished.cast.guardian, furnished.cast.teacher):
        assert person.email.encode() not in whole
    rows = json.loads(files["records.json"])["tables"]
    assert {row["title"] for row in rows["clips.Clip"]["rows"]} == {lessons.TITLE, "Sixths"}
    assert len(rows["clips.Listening"]["rows"]) == 1
    assert len(rows["review.Comment"]["rows"]) == 2, "of the clip that was returned"
    assert Comment.objects.count() == 3


def test_the_words_that_were_agreed_to_are_there_in_their_version(furnished):
    cast = furnished.cast
    Consent.objects.filter(pupil=cast.pupil).update(withdrawn_at=timezone.now())
    agree(cast.pupil, cast.studio, cast.guardian)
    Consent.objects.filter(withdrawn_at=None, pupil=cast.pupil).update(version=2)
    files = content(lessons.make(cast))
    first, second = json.loads(files["consent.json"])
    assert (first["version"], second["version"]) == (1, 2)
    assert first["withdrawn_at"]
    assert second["given_by"] == cast.guardian.name
    for said, words in ((first, "The pupil may send"), (second, "Mira, or you for Mira, may send")):
        assert words in json.dumps(said["words"], ensure_ascii=False)
        assert words in files["index.html"].decode()


def test_what_is_left_out_is_said_with_why(furnished):
    left = json.loads(content(lessons.make(furnished.cast))["manifest.json"])["left_out"]
    said = {line["why"]: line["what"] for line in left}
    notes = "What the teacher is still writing about clips that have not been returned."
    assert "Some comments" in said[notes]
    assert any("device" in why for why in said)
    for line in left:
        assert f"{line['what']}: {line['why']}".count("None") == 0


def test_a_grown_up_has_a_copy_of_her_own_in_words_to_herself(furnished):
    Person.objects.filter(pk=furnished.cast.pupil.pk).update(birth_year=1990)
    furnished.cast.pupil.refresh_from_db()
    copy = lessons.make(furnished.cast, furnished.cast.pupil)
    assert copy.state == "ready", copy.failure_detail
    assert json.loads(content(copy)["manifest.json"])["asked_by"] == furnished.cast.pupil.name


def test_a_copy_of_an_account_holds_no_lessons(furnished):
    teacher = furnished.cast.teacher
    copy = lessons.made(copies.begin(access.account_of(teacher), teacher))
    files = content(copy)
    assert set(files) == {"records.json", "index.html", "page.css", "page.js", "manifest.json"}
    whole = b"\n".join(files.values())
    assert teacher.email.encode() in whole
    for pupil in (furnished.cast.pupil, furnished.cast.other_pupil):
        assert pupil.name.encode() not in whole
    assert furnished.comment.text.partition("\n")[0].encode() not in whole


def test_without_consent_the_replies_stay_out_and_it_is_said(furnished):
    Consent.objects.all().delete()
    assert not consent.is_given(furnished.cast.enrolment)
    files = content(lessons.make(furnished.cast))
    assert not [name for name in files if "voice" in name and name.endswith(".m4a")]
    assert "Consent to recordings does not hold" in files["manifest.json"].decode()
    assert [name for name in files if name.endswith("playable.mp4")], "her own recordings are hers"


def test_it_can_be_had_once_lessons_have_ended(furnished):
    lesson_endings.end_lessons(furnished.cast.enrolment, by=furnished.cast.teacher)
    assert lessons.make(furnished.cast).state == "ready"


# -- who gets it ---------------------------------------------------------------------------


def test_it_is_given_to_who_asked_alone_with_ranges(furnished):
    copy = lessons.make(furnished.cast)
    address = f"/rights/copies/{copy.pk}/"
    guardian = as_person(furnished.cast.guardian)
    answer = guardian.get(address, headers={"range": "bytes=0-3"})
    assert (answer.status_code, answer.getvalue()) == (206, b"PK\x03\x04")
    assert answer["Content-Disposition"].startswith("attachment; ")
    assert answer["Cache-Control"] == "private, no-cache"
    whole = guardian.get(address)
    assert int(whole["Content-Length"]) == copy.size_bytes == len(whole.getvalue())
    other = Person.objects.get(email=OTHER_GUARDIAN)
    for person in (other, furnished.cast.pupil, furnished.cast.teacher, furnished.cast.operator):
        assert as_person(person).get(address).status_code == 404
        assert as_person(person).post(f"{address}remove/").status_code == 404
    assert as_person(None).get(address).status_code == 302


def test_nginx_sends_it_once_it_was_asked_who_may_have_it(furnished, settings):
    copy, settings.MEDIA_BY_NGINX = lessons.make(furnished.cast), True
    address = f"/rights/copies/{copy.pk}/"
    answer = as_person(furnished.cast.guardian).get(address)
    assert answer["X-Accel-Redirect"] == f"/stored/{copy.path}"
    assert answer["Content-Disposition"].startswith("attachment; ")
    assert as_person(furnished.cast.pupil).get(address).status_code == 404


def test_who_may_ask_no_more_gets_it_no_more(furnished):
    copy = lessons.make(furnished.cast)
    link = GuardianLink.objects.get(guardian=furnished.cast.guardian)
    services.unlink_guardian(link, by=furnished.cast.teacher)
    assert as_person(furnished.cast.guardian).get(f"/rights/copies/{copy.pk}/").status_code == 404


def test_who_may_ask_no_more_when_it_is_made_gets_none(furnished):
    guardian = furnished.cast.guardian
    begun = copies.begin(access.lessons_for(guardian, furnished.cast.enrolment.pk), guardian)
    GuardianLink.objects.filter(guardian=guardian).delete()
    assert lessons.made(begun).state == "failed"
    assert at_rest() == []


# -- how long ------------------------------------------------------------------------------


def test_it_goes_after_a_day_with_its_file(furnished):
    copy = lessons.make(furnished.cast)
    assert at_rest() == [copy.path]
    copies.sweep()
    assert at_rest() == [copy.path]
    day_ago = timezone.now() - Copy.KEPT - timedelta(seconds=1)
    Copy.objects.filter(pk=copy.pk).update(ready_at=day_ago)
    address = f"/rights/copies/{copy.pk}/"
    assert as_person(furnished.cast.guardian).get(address).status_code == 404, "even unswept"
    copies.sweep()
    assert (at_rest(), Copy.objects.count()) == ([], 0)


def test_it_goes_when_it_is_removed_or_who_asked_is_gone(furnished):
    copy = lessons.make(furnished.cast)
    as_person(furnished.cast.guardian).post(f"/rights/copies/{copy.pk}/remove/")
    assert (at_rest(), Copy.objects.count()) == ([], 0)
    copy = lessons.make(furnished.cast, Person.objects.get(email=OTHER_GUARDIAN))
    Person.objects.filter(email=OTHER_GUARDIAN).delete()
    assert (at_rest(), Copy.objects.count()) == ([], 0)


def test_an_erased_clip_takes_the_copies_that_hold_it_along(furnished):
    lessons.make(furnished.cast)
    other = Person.objects.get(email=OTHER_GUARDIAN)
    scope = access.lessons_for(other, furnished.cast.enrolment.pk)
    being_made = copies.claim(str(copies.begin(scope, other).pk))
    clips.erase(furnished.unreturned)
    assert at_rest() == []
    work_is_lost(being_made)
    again = lessons.made(Copy.objects.get())
    assert "Sixths" not in content(again)["records.json"].decode()


@pytest.mark.parametrize("what", ["a clip", "the lessons"])
def test_what_somebody_asks_to_be_erased_takes_the_copies_along_at_once(furnished, what):
    lessons.make(furnished.cast)
    cast = furnished.cast
    if what == "a clip":
        requests.erase_clip(furnished.unreturned, cast.guardian)
    else:
        requests.erase_lessons(cast.pupil, cast.studio, cast.guardian)
    assert (at_rest(), Copy.objects.filter(state="ready").count()) == ([], 0)


def test_an_erasure_takes_a_copy_without_clips_too(cast):
    lessons.make(cast)
    job = requests.erase_lessons(cast.pupil, cast.studio, cast.guardian)
    assert at_rest()
    erase(erasure_id=str(job.pk))
    assert (at_rest(), Copy.objects.count()) == ([], 0)


def work_is_lost(held: Copy) -> None:
    """A worker that still makes it publishes nothing."""
    with pytest.raises(work.leases.LeaseLost):
        work.make(held)
    assert at_rest() == []


def test_verify_and_the_backup_know_nothing_of_it_and_left_overs_go(furnished):
    copy = lessons.make(furnished.cast)
    report = verify()
    assert (report.faults, report.orphans) == ([], [])
    assert sweep_orphans() == []
    file = FolderStore().path(f"{work.FOLDER}/forgotten.zip")
    file.write_bytes(b"of a worker that was killed")
    assert sweep_orphans(older_than_s=0.0) == []
    two_days_ago = timezone.now().timestamp() - 2 * 24 * 3600
    os.utime(file, (two_days_ago, two_days_ago))
    assert sweep_orphans() == [f"{work.FOLDER}/forgotten.zip"]
    assert at_rest() == [copy.path]
