"""A copy by a command of whoever runs the machine, pictures before copies, and one from S3."""

import hashlib
import zipfile
from datetime import timedelta
from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.utils import timezone

from studio.accounts.models import Notice
from studio.clips.models import Stage
from studio.clips.processing import pictures, stages
from studio.rights import access, tasks
from studio.rights.copies import lessons as lessons_of
from studio.rights.copies import services
from studio.rights.models import Copy
from tests.cast import as_person, guard, make_clip, person
from tests.rights.copies import lessons


def command(*args: str) -> str:
    out = StringIO()
    call_command("copy_person", *args, stdout=out)
    return out.getvalue()


def test_a_copy_is_written_for_the_guardian_who_is_told(cast, tmp_path):
    file = tmp_path / "mira.zip"
    said = command(cast.pupil.name, str(file), "--studio", cast.studio.name)
    assert "for Edda Sandholm." in said
    with zipfile.ZipFile(file) as opened:
        assert opened.testzip() is None
        assert cast.pupil.name in opened.read("manifest.json").decode()
    assert "a copy of what is kept of Mira Sandholm" in Notice.objects.get(to=cast.guardian).text
    with pytest.raises(CommandError, match="is there already"):
        command(cast.pupil.name, str(file), "--studio", cast.studio.name)


def test_only_for_who_decides_and_of_two_guardians_for_the_one_named(cast, tmp_path):
    father = person("Halvard Sandholm", cast.studio, "guardian")
    guard(father, cast.pupil, cast.studio)
    asked = (cast.pupil.name, str(tmp_path / "one.zip"), "--studio", cast.studio.name)
    with pytest.raises(CommandError, match="Say with --for"):
        command(*asked)
    with pytest.raises(CommandError, match="does not decide"):
        command(*asked, "--for", cast.teacher.email)
    command(*asked, "--for", father.email)
    assert Copy.objects.get().asked_by == father


def test_an_account_of_ones_own(cast, tmp_path):
    command(cast.teacher.email, str(tmp_path / "teacher.zip"))
    assert (Copy.objects.get().about, Copy.objects.get().studio) == (cast.teacher, None)


def test_pictures_go_first_for_ten_minutes(cast):
    clip = make_clip(cast.enrolment)
    Stage.objects.filter(clip=clip).delete()
    picture = Stage.objects.create(clip=clip, kind=Stage.Kind.PLAYBACK)
    copy = services.begin(access.lessons_for(cast.guardian, cast.enrolment.pk), cast.guardian)
    assert services.claim(str(copy.pk)) is None
    copy.refresh_from_db()
    assert (copy.state, copy.dispatched_at, copy.attempt) == (Copy.State.WAITING, None, 0)
    Copy.objects.update(created_at=timezone.now() - timedelta(minutes=11))
    assert services.claim(str(copy.pk)) is not None
    Copy.objects.update(state=Copy.State.WAITING, attempt=0, created_at=timezone.now())
    picture.delete()
    assert services.claim(str(copy.pk)) is not None


def test_a_picture_that_comes_meanwhile_is_made_between_two_clips_of_a_copy(cast, monkeypatch):
    """GIVEN a copy at work WHEN a clip is sent THEN its picture waits for one clip at most."""
    clips = [make_clip(cast.enrolment, title) for title in ("Sixths", "Thirds")]
    Stage.objects.filter(clip__in=clips).delete()
    made, written = [], lessons_of.write

    def sent_meanwhile(*args) -> list:
        Stage.objects.create(clip=clips[1], kind=Stage.Kind.SMALL)
        return written(*args)

    def maker(stage: Stage) -> None:
        made.append((stage.kind, Copy.objects.get().state))
        stages.publish(stage, lambda clip: None)

    monkeypatch.setattr(lessons_of, "write", sent_meanwhile)
    monkeypatch.setitem(pictures.MAKERS, Stage.Kind.SMALL, maker)
    copy = services.begin(access.lessons_for(cast.guardian, cast.enrolment.pk), cast.guardian)
    tasks.make_copy(str(copy.pk))
    copy.refresh_from_db()
    assert made == [("small", "working")]
    assert copy.state == Copy.State.READY
    assert not pictures.wait()


def test_a_copy_from_an_object_store_goes_on_where_it_was_cut_off(cast, bucket):
    """A download that is resumed, as RFC 9110, section 14, has it: the same bytes, in parts."""
    copy = lessons.made(
        services.begin(access.lessons_for(cast.guardian, cast.enrolment.pk), cast.guardian)
    )
    assert [one.key for one in bucket.objects.all()] == [copy.path]
    browser, at = as_person(cast.guardian), f"/rights/copies/{copy.pk}/"
    whole = browser.get(at)
    half = copy.size_bytes // 2
    assert whole["Accept-Ranges"] == "bytes"
    first = browser.get(at, headers={"range": f"bytes=0-{half - 1}"})
    rest = {"range": f"bytes={half}-", "if-range": whole["ETag"]}
    second = browser.get(at, headers=rest)
    assert (first.status_code, second.status_code) == (206, 206)
    assert second["Content-Range"] == f"bytes {half}-{copy.size_bytes - 1}/{copy.size_bytes}"
    joined = first.getvalue() + second.getvalue()
    assert hashlib.sha256(joined).hexdigest() == copy.sha256
    # Of another copy than the one that was begun, all of it comes.
    assert browser.get(at, headers=rest | {"if-range": '"older"'}).status_code == 200
    copy.delete()
    assert browser.get(at, headers=rest).status_code == 404
