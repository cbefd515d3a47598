import pytest

from studio.accounts.models import Enrolment, Membership, Person, Studio
from studio.clips.models import Clip, Original, Stage
from studio.clips.storage import spool
from tests.cast import agree


@pytest.fixture(autouse=True)
def media_root(settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path / "media"
    return settings.MEDIA_ROOT


@pytest.fixture
def enrolment(db) -> Enrolment:
    studio = Studio.objects.create(name="Test studio")
    teacher = Person.objects.create_user("teacher@test.example", "a-password", name="Tess")
    pupil = Person.objects.create_user("pupil@test.example", "a-password", name="Pim")
    Membership.objects.create(person=teacher, studio=studio, role="teacher")
    Membership.objects.create(person=pupil, studio=studio, role="pupil")
    agree(pupil, studio)
    return Enrolment.objects.create(pupil=pupil, studio=studio, teacher=teacher)


@pytest.fixture
def clip(enrolment) -> Clip:
    return Clip.objects.create(
        enrolment=enrolment, uploaded_by=enrolment.pupil, intake=Clip.Intake.RECEIVED
    )


@pytest.fixture
def stage(clip) -> Stage:
    return Stage.objects.create(clip=clip, kind=Stage.Kind.LISTENING)


@pytest.fixture
def stored(clip) -> Original:
    spooled = spool.spool([b"the recording"], 1000)
    kept = spool.keep(spooled, f"{spool.clip_folder(clip.pk)}/original")
    return Original.objects.create(
        clip=clip,
        path=kept.path,
        sha256=kept.sha256,
        size_bytes=kept.size_bytes,
        filename="clip.mp4",
    )
