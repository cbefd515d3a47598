"""Children are bounded, alone, and never left behind."""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import psutil
import pytest

from studio.media import Failed, Limits, check_tools, extract_sound, probe, tools
from studio.media.jobs import Job, transcode
from studio.media.runner import run, workbench
from tests.media.recordings import AAC, H264, ffmpeg, flash_and_click

ROOT = Path(__file__).parents[2]


@pytest.fixture(params=["auto", "off"])
def sandbox(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> str:
    monkeypatch.setenv("MEDIA_SANDBOX", request.param)
    return str(request.param)


@pytest.fixture(scope="module")
def good(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return flash_and_click(tmp_path_factory.mktemp("good") / "good.mp4", *H264, *AAC)


def stand_in(folder: Path, monkeypatch: pytest.MonkeyPatch, script: str) -> None:
    """Put a program of our own in ffmpeg's place."""
    program = folder / "stand-in"
    program.write_text(f"#!/bin/sh\n{script}\n")
    program.chmod(0o755)
    monkeypatch.setenv("FFMPEG", str(program))


def processes_with(text: str) -> list[int]:
    """Ids of live processes whose command line holds ``text``."""
    found = []
    for folder in Path("/proc").glob("[0-9]*"):
        try:
            if text.encode() in (folder / "cmdline").read_bytes():
                found.append(int(folder.name))
        except OSError:
            continue
    return found


def gone(text: str, within_s: float = 5.0) -> bool:
    until = time.monotonic() + within_s
    while time.monotonic() < until:
        if not processes_with(text):
            return True
        time.sleep(0.05)
    return False


@pytest.mark.fault(27, "stuck decoder", "killed at its bound, with its whole group")
@pytest.mark.usefixtures("sandbox")
def test_stuck_decoder_is_killed_with_its_group(
    tmp_path: Path,
    good: Path,
    sandbox: str,
    monkeypatch: pytest.MonkeyPatch,
    seen: Callable[[str], None],
) -> None:
    info = probe(good)
    stand_in(tmp_path, monkeypatch, "sleep 98765 & sleep 98765")
    limits = Limits(timeout_base_s=0.5, sound_timeout_per_s=0)
    started = time.monotonic()
    with pytest.raises(Failed, match="took longer than") as caught:
        extract_sound(good, tmp_path / "a.wav", info, limits)
    assert caught.value.code == "timeout"
    took_s = time.monotonic() - started
    assert took_s < 5
    assert gone("98765")
    seen(f"sandbox {sandbox}: killed after {took_s:.1f} s of 0.5 s allowed, no process left")


@pytest.mark.usefixtures("sandbox")
def test_full_disk_is_named(tmp_path: Path, good: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    info = probe(good)
    stand_in(
        tmp_path,
        monkeypatch,
        "echo 'av_interleaved_write_frame(): No space left on device' >&2; exit 1",
    )
    with pytest.raises(Failed) as caught:
        extract_sound(good, tmp_path / "a.wav", info)
    assert caught.value.code == "disk_full"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["stand-in"]


@pytest.mark.usefixtures("sandbox")
def test_crash_keeps_the_last_words(
    tmp_path: Path, good: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    info = probe(good)
    stand_in(tmp_path, monkeypatch, "echo 'assertion failed' >&2; exit 134")
    with pytest.raises(Failed) as caught:
        extract_sound(good, tmp_path / "a.wav", info)
    assert caught.value.code == "killed"
    assert "assertion failed" in caught.value.detail


@pytest.mark.usefixtures("sandbox")
def test_output_beyond_its_bound_is_stopped(tmp_path: Path, good: Path) -> None:
    job = Job(Limits(), 30.0, max_output_bytes=50_000, duration_s=6.0)
    with pytest.raises(Failed) as caught:
        transcode(good, tmp_path / "a.wav", lambda node, output: node.output(output), job)
    assert caught.value.code == "output_too_large"
    assert not (tmp_path / "a.wav").exists()


@pytest.mark.usefixtures("sandbox")
def test_flood_of_words_is_not_kept(good: Path) -> None:
    program = Path("/bin/sh").resolve()
    with workbench(program, good) as bench, pytest.raises(Failed) as caught:
        run(
            [str(program), "-c", "while echo a line that goes on and on; do :; done"],
            limits=Limits(),
            timeout_s=30,
            max_output_bytes=100_000,
            prefix=bench.prefix,
        )
    assert caught.value.code == "output_too_large"


def test_memory_beyond_its_bound_is_refused(good: Path, tmp_path: Path) -> None:
    program = Path(sys.executable)
    with workbench(program, good) as bench, pytest.raises(Failed) as caught:
        run(
            [str(program), "-c", "x = bytearray(900_000_000)"],
            limits=Limits(memory_bytes=400_000_000),
            timeout_s=20,
            max_output_bytes=1000,
            prefix=bench.prefix,
        )
    assert caught.value.code == "no_memory"
    assert "MemoryError" in caught.value.detail


def test_children_are_nice(good: Path) -> None:
    program = Path("/bin/sh").resolve()
    with workbench(program, good) as bench:
        finished = run(
            [str(program), "-c", "nice"],
            limits=Limits(),
            timeout_s=20,
            max_output_bytes=1000,
            prefix=bench.prefix,
        )
    assert finished.stdout.strip() == b"19"


def test_sandbox_shows_one_file_and_no_network_or_start_up_says_so(good: Path) -> None:
    if not tools.sandbox_available():
        assert "no_sandbox" in [problem.code for problem in check_tools()]
        return
    program = Path("/bin/sh").resolve()
    script = (
        f"cat {good} | wc -c; cat /input | wc -c; ls / ; cat /proc/net/dev | wc -l; touch /usr/x"
    )
    with workbench(program, good) as bench:
        finished = run(
            [str(program), "-c", script],
            limits=Limits(),
            timeout_s=20,
            max_output_bytes=1000,
            prefix=bench.prefix,
        )
    hidden, shown, *listing, interfaces = finished.stdout.decode().split()
    assert int(hidden) == 0
    assert int(shown) == good.stat().st_size
    assert not {"home", "root", "etc/passwd", "var"} & set(listing)
    assert int(interfaces) <= 3  # two lines of heading, and the loopback at most
    assert "Read-only" in finished.stderr


@pytest.mark.usefixtures("sandbox")
def test_killed_worker_leaves_no_ffmpeg(tmp_path: Path) -> None:
    source = tmp_path / "a.mkv"
    long = ("-f", "lavfi", "-i", "testsrc2=s=1600x900:r=30:d=8", "-c:v", "mpeg4", "-q:v", "9")
    ffmpeg(*long, str(source))
    script = (
        "import sys; from studio.media import *;"
        "make_playable(sys.argv[1], sys.argv[1] + '.mp4', probe(sys.argv[1]))"
    )
    worker = subprocess.Popen([sys.executable, "-c", script, str(source)], cwd=ROOT)
    until = time.monotonic() + 30
    while not (started := descendants(worker.pid, "libx264")):
        assert time.monotonic() < until, "ffmpeg was never started"
        time.sleep(0.02)
    os.kill(worker.pid, signal.SIGKILL)
    worker.wait()
    until = time.monotonic() + 5
    while any(map(alive, started)) and time.monotonic() < until:
        time.sleep(0.02)
    assert not [pid for pid in started if alive(pid)]


def descendants(pid: int, text: str) -> list[int]:
    """Live processes below ``pid`` whose command line holds ``text``."""
    below = psutil.Process(pid).children(recursive=True)
    found = processes_with(text)
    return [child.pid for child in below if child.pid in found]


def alive(pid: int) -> bool:
    return psutil.pid_exists(pid) and psutil.Process(pid).status() != psutil.STATUS_ZOMBIE


class TestTools:
    def test_nothing_is_wrong_where_the_tools_are_there(self) -> None:
        assert [problem for problem in check_tools() if problem.severity == "error"] == []

    def test_missing_tools_are_named_with_what_to_do(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setenv("PATH", str(tmp_path))
        monkeypatch.setenv("MEDIA_TOOLS", "system")
        found = {problem.code: problem for problem in check_tools()}
        assert {"ffmpeg_missing", "ffprobe_missing", "no_sandbox"} == set(found)
        assert "FFMPEG" in found["ffmpeg_missing"].hint
        assert found["no_sandbox"].severity == "warning"

    def test_wheels_step_in_where_path_has_nothing(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setenv("PATH", str(tmp_path))
        assert "imageio" in str(tools.find_ffmpeg())
        assert tools.find_ffprobe() is None

    def test_wrong_setting_is_named(self, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setenv("MEDIA_TOOLS", "best")
        assert {problem.code for problem in check_tools()} >= {"bad_setting"}

    def test_a_sandbox_that_is_missing_or_does_not_run_is_told_apart(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setenv("PATH", str(tmp_path))
        assert "bwrap was not found" in tools.sandbox_trouble()
        broken = tmp_path / "bwrap"
        broken.write_text("#!/bin/sh\necho 'no user namespaces here' >&2; exit 1\n")
        broken.chmod(0o755)
        assert "does not run here (no user namespaces here)" in tools.sandbox_trouble()
        said = {problem.code: problem.sentence for problem in check_tools()}
        assert "no user namespaces here" in said["no_sandbox"]

    def test_required_sandbox_that_is_missing_is_an_error(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setenv("MEDIA_SANDBOX", "require")
        monkeypatch.setenv("PATH", str(tmp_path))
        problems = {problem.code: problem.severity for problem in check_tools()}
        assert problems["sandbox_missing"] == "error"
