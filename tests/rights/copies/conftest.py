import zipfile
from pathlib import Path

import pytest

from studio.rights.copies import services
from tests.media.recordings import ffmpeg
from tests.rights.copies import lessons
from tests.rights.copies.lessons import Lessons


@pytest.fixture(autouse=True)
def media_root(settings, tmp_path, monkeypatch) -> Path:
    settings.MEDIA_ROOT = tmp_path / "media"
    monkeypatch.setattr(services, "send", lambda *args: True)
    return settings.MEDIA_ROOT


@pytest.fixture(scope="session")
def voice() -> bytes:
    """Three seconds of sound, as a teacher's phone records a reply."""
    tone = ("-f", "lavfi", "-i", "sine=frequency=440:duration=3")
    return ffmpeg(*tone, "-c:a", "aac", "-movflags", "frag_keyframe", "-f", "mp4", "pipe:1")


@pytest.fixture
def furnished(cast, voice) -> Lessons:
    return lessons.furnish(cast, voice)


@pytest.fixture
def unpacked(furnished, tmp_path) -> Path:
    """The guardian's copy of the child's lessons, unpacked as a person does it."""
    copy = lessons.make(furnished.cast)
    assert copy.state == "ready", copy.failure_detail
    folder = tmp_path / "unpacked"
    with lessons.at_rest(copy) as path, zipfile.ZipFile(path) as file:
        file.extractall(folder)
    return folder
