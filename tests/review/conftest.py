"""Recordings that are sent, and the folder they are kept in."""

import pytest

from studio.clips import services
from tests.media.recordings import ffmpeg
from tests.samples import SAMPLE


@pytest.fixture
def media_root(settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path / "media"
    return settings.MEDIA_ROOT


@pytest.fixture
def no_queue(monkeypatch) -> None:
    """What is sent is worked on by nobody."""
    monkeypatch.setattr(services, "dispatch", lambda pk, kind: True)


@pytest.fixture
def sample() -> bytes:
    return SAMPLE.read_bytes()


@pytest.fixture(scope="session")
def voice() -> bytes:
    """Three seconds as a browser's recorder writes them: no length in its head."""
    tone = ("-f", "lavfi", "-i", "sine=frequency=440:duration=3")
    return ffmpeg(*tone, "-c:a", "libopus", "-f", "webm", "-live", "1", "pipe:1")
