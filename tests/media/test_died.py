"""A child that died says nothing of the recording: it is our failure, and nothing is refused."""

import os
import signal
import threading
import time
from dataclasses import replace
from pathlib import Path

import psutil
import pytest

from studio.media import Failed, Limits, extract_sound, make_playable, make_small, probe
from studio.media.runner import run
from tests.faults.killing import WAITS, dying
from tests.media.recordings import AAC, H264, flash_and_click

MB = 1_000_000
SIGNALS = [signal.SIGKILL, signal.SIGTERM, signal.SIGSEGV, signal.SIGABRT, signal.SIGBUS]


@pytest.fixture(params=["auto", "off"], ids=["sandbox", "bare"], autouse=True)
def sandbox(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("MEDIA_SANDBOX", request.param)


@pytest.fixture(scope="module")
def good(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return flash_and_click(tmp_path_factory.mktemp("good") / "good.mp4", *H264, *AAC)


@pytest.mark.parametrize("number", SIGNALS)
def test_a_prober_that_dies_of_a_signal_judges_nothing(good, tmp_path, number) -> None:
    script = f"kill -{int(number)} $$"
    with dying(tmp_path, "FFPROBE", script=script), pytest.raises(Failed) as caught:
        probe(good)
    assert caught.value.code == "killed"


@pytest.mark.parametrize("make", [extract_sound, make_playable, make_small])
def test_a_decoder_that_is_killed_judges_nothing(good, tmp_path, make) -> None:
    info = probe(good)
    with dying(tmp_path, "FFMPEG"), pytest.raises(Failed) as caught:
        make(good, tmp_path / "made.mp4", info)
    assert caught.value.code == "killed"
    assert not (tmp_path / "made.mp4").exists()


def test_a_prober_that_somebody_kills_in_its_middle_judges_nothing(good, tmp_path) -> None:
    def kill() -> None:
        until = time.monotonic() + 20
        while time.monotonic() < until:
            for process in psutil.process_iter(["cmdline"]):
                if process.info["cmdline"] == ["sleep", "987654"]:
                    os.kill(process.pid, signal.SIGKILL)
                    return
            time.sleep(0.05)

    killer = threading.Thread(target=kill)
    killer.start()
    with dying(tmp_path, "FFPROBE", script=WAITS), pytest.raises(Failed) as caught:
        probe(good)
    killer.join()
    assert caught.value.code == "killed"


@pytest.mark.parametrize("which", [2, 3])
def test_no_stream_is_lost_by_a_prober_that_dies_at_its_later_looks(
    good, monkeypatch, which
) -> None:
    """The first look tells the streams; a later one that dies must not make one of them vanish."""
    import importlib

    looks = []

    def dies(command, **more):
        looks.append(command)
        if len(looks) == which:
            command = ["/bin/sh", "-c", "kill -KILL $$"]
        return run(command, **more)

    monkeypatch.setattr(importlib.import_module("studio.media.probe"), "run", dies)
    with pytest.raises(Failed) as caught:
        probe(good)
    assert (caught.value.code, len(looks)) == ("killed", which)


@pytest.mark.parametrize("tools", ["auto", "wheels"])
def test_with_too_little_memory_it_is_seen_as_it_is_or_not_judged(good, monkeypatch, tools) -> None:
    """Real bounds on the address space (RLIMIT_AS), from far too little to enough."""
    monkeypatch.setenv("MEDIA_TOOLS", tools)
    whole, ends = probe(good), []
    for mb in (5, 40, 90, 125, 200, 262, 266, 270, 274, 278, 300, 600):
        try:
            assert probe(good, Limits(probe_memory_bytes=mb * MB)) == whole
            ends.append("seen")
        except Failed as failed:
            ends.append(failed.code)
    assert ends[0] in ("crashed", "no_memory", "killed")
    assert ends[-1] == "seen"


def test_a_copy_made_with_too_little_memory_is_whole_or_is_not_made(good, tmp_path) -> None:
    info, ends = probe(good), []
    for mb in (100, 280, 300, 320, 360, 3000):
        limits = replace(Limits(), memory_bytes=mb * MB)
        try:
            made = make_small(good, tmp_path / f"{mb}.mp4", info, limits)
            assert made.notes == (), "a good recording is not called damaged for want of memory"
            ends.append("made")
        except Failed as failed:
            ends.append(failed.code)
    assert ends[0] != "made"
    assert ends[-1] == "made"
