"""The frame times of a playable copy, as the desk fetches them."""

import pytest
from django.urls import reverse

from studio.clips.models import Clip, Rendition
from studio.clips.storage import spool
from tests.cast import as_person, make_clip
from tests.samples import SAMPLE

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def folder(settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path / "media"


@pytest.fixture
def clip(cast) -> Clip:
    return make_clip(cast.enrolment, has_audio=True, has_video=True)


def keep_copy(clip: Clip, data: bytes) -> None:
    part = spool.bench_path(".mp4")
    part.write_bytes(data)
    stored = spool.keep(spool.finished(part), f"{spool.clip_folder(clip.pk)}/playable.mp4")
    Rendition.objects.create(
        clip=clip,
        kind=Rendition.Kind.PLAYABLE,
        path=stored.path,
        sha256=stored.sha256,
        size_bytes=stored.size_bytes,
        content_type="video/mp4",
    )


def asked(who, clip: Clip):
    return as_person(who).get(reverse("desk_frames", args=[clip.pk]))


def test_the_steps_add_up_to_the_frames_of_the_copy(cast, clip):
    keep_copy(clip, SAMPLE.read_bytes())
    told = asked(cast.teacher, clip).json()
    assert told["steps"][0] == 0
    assert {round(step * told["unit_s"], 3) for step in told["steps"][1:]} == {0.067}
    assert sum(told["steps"]) * told["unit_s"] == pytest.approx(13.33, abs=0.1)


def test_there_is_nothing_to_step_through_while_there_is_no_copy(cast, clip):
    assert asked(cast.teacher, clip).status_code == 404


def test_a_copy_that_cannot_be_read_leaves_the_page_to_its_rate(cast, clip, caplog):
    keep_copy(clip, SAMPLE.read_bytes()[:300])
    assert asked(cast.teacher, clip).json()["steps"] == []
    assert "run verify" in caplog.text


def test_another_studio_gets_what_does_not_exist(cast, clip):
    keep_copy(clip, SAMPLE.read_bytes())
    assert asked(cast.foreign_teacher, clip).status_code == 404
    assert asked(cast.pupil, clip).status_code == 404
