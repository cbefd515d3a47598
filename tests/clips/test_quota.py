"""What may be sent in a day, and how many recordings may be half sent, also by many at once."""

import io
import random
import threading
import wave
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from uuid import uuid4

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connections
from django.utils import timezone

from studio.clips import services as clips
from studio.clips.models import Clip, Original, Upload
from studio.clips.uploads import services
from tests.cast import as_person, make_cast, make_clip
from tests.production import Ground, on_production_ground
from tests.servers import Postgres, Redis

TUS = {"tus-resumable": "1.0.0"}
AT_ONCE = 60


@pytest.fixture(autouse=True)
def no_queue(monkeypatch):
    monkeypatch.setattr(clips, "dispatch", lambda pk, kind: True)


def sent(cast, count: int, size_bytes: int = 1_000_000, hours_ago: int = 1) -> None:
    for number in range(count):
        when = timezone.now() - timedelta(hours=hours_ago)
        clip = make_clip(cast.enrolment, f"take {number}", created_at=when)
        path = f"clips/{clip.pk}/original"
        Original.objects.create(clip=clip, path=path, sha256="0", size_bytes=size_bytes)


def begin(client, length: int):
    headers = TUS | {"upload-length": str(length)}
    return client.post("/uploads/", content_type="", headers=headers)


def by_form(client):
    return client.post("/send/", {"recording": SimpleUploadedFile("a.mp4", b"0" * 100_000)})


@pytest.mark.django_db
@pytest.mark.parametrize("send", [lambda client: begin(client, 100_000), by_form])
@pytest.mark.parametrize(
    ("bound", "value", "says"),
    [
        ("DAILY_CLIPS_PUPIL", 3, "You have sent 3 recordings in the last 24 hours, and 3 is the"),
        ("DAILY_BYTES_PUPIL", 3_050_000, "this one has 0.1 MB, and 3.1 MB is the most"),
        ("DAILY_CLIPS_STUDIO", 3, "All pupils of your studio together have sent 3 recordings"),
        ("DAILY_BYTES_STUDIO", 3_050_000, "All pupils of your studio together have sent 3.0 MB"),
    ],
)
def test_what_was_sent_in_a_day_is_bounded_and_said(cast, settings, send, bound, value, says):
    settings.DAILY_CLIPS_PUPIL = settings.DAILY_CLIPS_STUDIO = 100
    setattr(settings, bound, value)
    sent(cast, 3)
    client = as_person(cast.pupil)
    answer = send(client)
    assert answer.status_code == 429
    assert says in answer.text
    assert "send it after" in answer.text
    assert (Clip.objects.count(), Upload.objects.count()) == (3, 0)
    Clip.objects.update(created_at=timezone.now() - timedelta(hours=25))
    assert send(client).status_code != 429


@pytest.mark.django_db
def test_what_is_on_its_way_counts_and_what_has_begun_arrives(cast, settings):
    settings.DAILY_CLIPS_PUPIL = 1
    client = as_person(cast.pupil)
    address = begin(client, 10)["Location"]
    assert begin(client, 10).status_code == 429
    answer = client.patch(
        address,
        b"0123456789",
        content_type="application/offset+octet-stream",
        headers=TUS | {"upload-offset": "0"},
    )
    assert answer.status_code == 204


def many_at_once(most: int) -> None:
    cast = make_cast()
    gate = [(cast.enrolment, cast.pupil)] * AT_ONCE

    def one(place) -> str:
        try:
            services.begin(*place, 1000, "")
        except services.TooMany:
            return "too many"
        finally:
            connections.close_all()
        return "begun"

    with ThreadPoolExecutor(AT_ONCE) as pool:
        outcomes = list(pool.map(one, gate))
    assert outcomes.count("begun") == Upload.objects.count() == most
    assert outcomes.count("too many") == AT_ONCE - most
    assert len(list(services.partial.store().bench().glob("upload-*"))) == most


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize(
    ("bound", "value"), [("DAILY_CLIPS_PUPIL", 1), ("DAILY_BYTES_STUDIO", 1_000_000)]
)
def test_two_by_the_plain_form_at_once_are_not_more_than_may_be(
    cast, settings, monkeypatch, media_root, bound, value
):
    """Both are asked before either is kept; the second finds out with its row."""
    setattr(settings, bound, value)
    both = threading.Barrier(2)
    really = clips.examination.look_at

    def looked_at(clip, path):
        both.wait(30)  # neither has a row yet
        return really(clip, path)

    monkeypatch.setattr(clips.examination, "look_at", looked_at)
    recordings = [wav(0), wav(1)]

    def one(data: bytes) -> str:
        try:
            clips.receive(cast.enrolment, cast.pupil, [data], "a.wav", upload_key=uuid4().hex)
        except clips.quota.OverQuota as over:
            return over.sentence
        finally:
            connections.close_all()
        return ""

    with ThreadPoolExecutor(2) as pool:
        kept, refused = sorted(pool.map(one, recordings))
    assert kept == ""
    assert "is the most" in refused
    assert "send it after" in refused
    assert (Clip.objects.count(), Original.objects.count()) == (1, 1)
    files = [path for path in media_root.rglob("*") if path.is_file()]
    assert [path.name for path in files if path.stat().st_size > 100_000] == ["original"]


def wav(seed: int) -> bytes:
    """Six seconds of noise, 0.6 MB."""
    made = io.BytesIO()
    with wave.open(made, "wb") as file:
        file.setparams((1, 2, 48_000, 0, "NONE", ""))
        file.writeframes(random.Random(seed).randbytes(600_000))
    return made.getvalue()


@pytest.mark.django_db(transaction=True)
def test_sixty_that_begin_at_once_are_bounded_on_sqlite(settings):
    many_at_once(settings.MAX_UNFINISHED_UPLOADS)


@pytest.mark.worker
@pytest.mark.django_db(transaction=True)
def test_sixty_that_begin_at_once_are_bounded_on_postgresql(settings, tmp_path):
    postgres, redis = Postgres(), Redis()
    try:
        postgres.start()
        ground = Ground(tmp_path / "data", postgres.create("studio"), redis.url)
        with on_production_ground(ground):
            many_at_once(settings.MAX_UNFINISHED_UPLOADS)
    finally:
        connections.close_all()
        postgres.remove()
        redis.remove()
