import pytest
from moto.server import ThreadedMotoServer

from studio import environment
from studio.accounts.models import Enrolment, Membership, Person, Studio
from studio.clips.models import Clip, Original, Stage
from studio.clips.storage import spool
from studio.clips.storage.stores import ObjectStore
from tests.cast import agree


@pytest.fixture(autouse=True)
def media_root(settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path / "media"
    return settings.MEDIA_ROOT


@pytest.fixture(scope="module")
def server():
    """A local server that speaks S3; it checks no signatures."""
    server = ThreadedMotoServer(ip_address="127.0.0.1", port=0, verbose=False)
    server.start()
    yield "{}:{}".format(*server.get_host_and_port())
    server.stop()


@pytest.fixture
def bucket(server, settings, monkeypatch, tmp_path):
    """An empty bucket, and settings as OBJECT_STORE makes them."""
    monkeypatch.setenv("OBJECT_STORE", f"s3://key:secret@{server}/clips?tls=0")
    options = environment.object_store("OBJECT_STORE")
    settings.OBJECT_STORE, settings.STUDIO_DATA = options, tmp_path / "data"
    backend = {"BACKEND": "storages.backends.s3.S3Storage", "OPTIONS": options}
    settings.STORAGES = settings.STORAGES | {"clips": backend}
    bucket = ObjectStore().storage.bucket
    bucket.create()
    yield bucket
    bucket.objects.all().delete()
    bucket.delete()


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
