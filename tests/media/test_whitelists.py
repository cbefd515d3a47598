"""What holds a file back from reaching out: the whitelists alone, and the sandbox alone.

Each has its control: with neither, the same files do reach the canary and read the secret. So
the hostile set can fail.
"""

import importlib
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from studio.media import MediaError, check_tools, extract_sound, probe, tools
from studio.media.tools import find_ffmpeg
from tests.media import hostile
from tests.media.canary import MARKER, Canary, listening, secret_sound

REACHING = [case.name for case in hostile.CASES if case.reaches_out]
OPEN_FORMATS = "mov,matroska,webm,wav,mp3,flac,ogg,aac,hls,concat,dash,sdp,svg_pipe,vobsub"
OPEN_PROTOCOLS = "file,http,tcp,crypto,udp,rtp"


@pytest.fixture(scope="module")
def canary(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Canary]:
    secret = secret_sound(tmp_path_factory.mktemp("canary") / "a.mp4")
    with listening(secret.read_bytes()) as canary:
        yield canary


@pytest.fixture(scope="module")
def hostile_set(tmp_path_factory: pytest.TempPathFactory, canary: Canary) -> Path:
    folder = tmp_path_factory.mktemp("hostile")
    hostile.build(folder, canary.url, [case for case in hostile.CASES if case.reaches_out])
    return folder


@pytest.fixture
def nobody_looks(monkeypatch: pytest.MonkeyPatch) -> None:
    """Our own look at the file's first bytes is left out."""
    module = importlib.import_module("studio.media.probe")  # the package names its function so
    monkeypatch.setattr(module, "inspect_structure", lambda path: False)


@pytest.fixture
def whitelists_are_open(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("probe", "jobs"):
        module = importlib.import_module(f"studio.media.{name}")
        monkeypatch.setattr(module, "FORMATS", OPEN_FORMATS)
        monkeypatch.setattr(module, "PROTOCOLS", OPEN_PROTOCOLS)


def sound_of(path: Path, folder: Path) -> bytes:
    """The bytes of the sound that comes out of ``path``; none when it is refused."""
    try:
        extract_sound(path, folder / "sound.wav", probe(path))
    except MediaError:
        assert not (folder / "sound.wav").exists()
        return b""
    return (folder / "sound.wav").read_bytes()


@pytest.mark.usefixtures("nobody_looks")
@pytest.mark.parametrize("program", ["system", "wheels"])
@pytest.mark.parametrize("name", REACHING)
def test_whitelists_alone_hold_it_back(
    name: str,
    program: str,
    hostile_set: Path,
    canary: Canary,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("MEDIA_SANDBOX", "off")
    monkeypatch.setenv("MEDIA_TOOLS", program)
    calls = len(canary.calls)
    assert MARKER not in sound_of(hostile_set / name, tmp_path)
    assert canary.calls[calls:] == []


@pytest.mark.usefixtures("nobody_looks", "whitelists_are_open")
@pytest.mark.parametrize("name", ["playlist_file.mp4", "playlist_http.mp4"])
def test_sandbox_alone_holds_it_back_or_start_up_says_that_there_is_none(
    name: str, hostile_set: Path, canary: Canary, tmp_path: Path
) -> None:
    if not tools.sandbox_available():
        assert "no_sandbox" in [problem.code for problem in check_tools()]
        return
    calls = len(canary.calls)
    assert MARKER not in sound_of(hostile_set / name, tmp_path)
    assert canary.calls[calls:] == []


@pytest.mark.usefixtures("nobody_looks", "whitelists_are_open")
class TestControl:
    """With neither whitelists nor sandbox, the same files get through."""

    @pytest.fixture(autouse=True)
    def sandbox_is_off(self, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setenv("MEDIA_SANDBOX", "off")

    def test_playlist_of_a_file_reads_the_secret(self, hostile_set: Path, tmp_path: Path) -> None:
        assert MARKER in sound_of(hostile_set / "playlist_file.mp4", tmp_path)

    def test_playlist_of_an_address_calls_the_canary(
        self, hostile_set: Path, canary: Canary, tmp_path: Path
    ) -> None:
        calls = len(canary.calls)
        assert MARKER in sound_of(hostile_set / "playlist_http.mp4", tmp_path)
        assert any("GET /segment.mp4" in call for call in canary.calls[calls:])

    @pytest.mark.parametrize(
        ("name", "options"),
        [
            ("concat.mov", ()),
            ("outside_sound.mov", ("-enable_drefs", "1", "-use_absolute_path", "1")),
        ],
    )
    def test_a_program_told_to_follow_reads_the_secret(
        self, name: str, options: tuple[str, ...], hostile_set: Path, tmp_path: Path
    ) -> None:
        made = tmp_path / "sound.wav"
        command = [str(find_ffmpeg()), "-v", "error", *options, "-i", str(hostile_set / name)]
        subprocess.run([*command, str(made)], check=True, capture_output=True)
        assert MARKER in made.read_bytes()
