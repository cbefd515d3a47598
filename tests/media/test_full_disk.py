"""A disk that fills while a clip is prepared: nothing half-made stays, and later it is done."""

import contextlib
import subprocess
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from django.urls import reverse

from studio.clips import sentences, services, tasks
from studio.clips.models import Stage
from studio.clips.upkeep.verification import verify
from studio.media import jobs
from studio.media.errors import Failed
from studio.media.playable import make_small
from studio.media.probe import probe
from studio.media.tools import find_ffmpeg
from tests.media.recordings import ffmpeg

ROOM_BYTES = 30_000  # beside the original: less than any copy of it needs
Grow = Callable[[], object]


@contextlib.contextmanager
def little_room(folder: Path, size_bytes: int) -> Iterator[tuple[str, Grow]]:
    """A file system of ``size_bytes`` at ``folder``; yields what it is, and what makes room.

    Where mounting is not allowed, ffmpeg writes to the kernel's own full device instead, full(4).
    """
    mount = ["mount", "-t", "tmpfs", "-o", f"size={size_bytes}", "tmpfs", str(folder)]
    if subprocess.run(mount, capture_output=True).returncode == 0:
        larger = ["mount", "-o", "remount,size=100m", str(folder)]
        try:
            yield f"a disk of {size_bytes // 1000} kB", lambda: subprocess.run(larger, check=True)
        finally:
            subprocess.run(["umount", "--lazy", str(folder)], check=True)
    else:
        with full_device(folder.with_name("programs")) as grow:
            yield "/dev/full", grow


@contextlib.contextmanager
def full_device(folder: Path) -> Iterator[Grow]:
    """ffmpeg itself, with /dev/full where its output would be."""
    folder.mkdir()
    program, real = folder / "ffmpeg", find_ffmpeg()
    link = 'for word; do case "$word" in */made.*) ln -sf /dev/full "$word";; esac; done'
    program.write_text(f'#!/bin/sh\n{link}\nexec {real} "$@"\n')
    program.chmod(0o755)
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("FFMPEG", str(program))
        yield lambda: patch.setenv("FFMPEG", str(real))


@pytest.fixture(scope="module")
def grainy(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """A recording whose copy is large: a picture full of noise, in a codec that must be redone."""
    path = tmp_path_factory.mktemp("grainy") / "a.mkv"
    picture = "nullsrc=s=240x180:r=25:d=2,geq=random(1)*255:128:128"
    inputs = ("-f", "lavfi", "-i", picture, "-f", "lavfi", "-i", "sine=440:d=2")
    ffmpeg(*inputs, "-c:v", "mpeg4", "-q:v", "31", "-c:a", "aac", str(path))
    return path.read_bytes()


@pytest.fixture
def left_over(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    folder = tmp_path / "tmp"
    folder.mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(folder))
    return folder


def files(folder: Path) -> list[str]:
    return [path.name for path in folder.rglob("*") if path.is_file()]


@pytest.mark.fault(
    9, "disk full in transcode", "partial deleted, retried later, the teacher is told"
)
def test_full_disk_leaves_nothing_half_made_and_is_retried_until_there_is_room(
    cast, client, grainy, left_over, settings, tmp_path, monkeypatch, seen
):
    settings.MEDIA_ROOT = tmp_path / "media"
    settings.MEDIA_ROOT.mkdir()
    monkeypatch.setattr(services, "dispatch", lambda pk, kind: None)
    with little_room(settings.MEDIA_ROOT, len(grainy) + ROOM_BYTES) as (disk, grow):
        clip = services.receive(cast.enrolment, cast.pupil, [grainy], "clip.mkv")
        tasks.listen_to_clip(str(clip.pk))
        for _ in range(4):  # more often than a clip's own failures are forgiven
            tasks.prepare_small(str(clip.pk))
            tasks.prepare_playback(str(clip.pk))
            for stage in clip.stages.all():
                assert (stage.state, stage.failure_code) == (Stage.State.WAITING, "disk_full")
        assert files(settings.MEDIA_ROOT) == ["original"]
        assert list(left_over.iterdir()) == []
        told = sentences.stage_failure(clip.stages.get(kind=Stage.Kind.PLAYBACK))
        client.force_login(cast.teacher)
        page = client.get(reverse("waiting_list")).content.decode()
        assert "There is no room left" in page
        grow()
        tasks.prepare_small(str(clip.pk))
        tasks.prepare_playback(str(clip.pk))
        tasks.listen_to_clip(str(clip.pk))
        states = {stage.state for stage in clip.stages.all()}
        assert states == {Stage.State.PLAYABLE, Stage.State.HEARD}
        assert verify().faults == verify().orphans == []
    seen(f"{disk}: {told} With room made: played and heard, nothing left over")


def test_a_full_device_is_named_like_a_full_disk(
    cast, grainy, left_over, settings, tmp_path, monkeypatch
):
    settings.MEDIA_ROOT = tmp_path / "media"
    monkeypatch.setattr(services, "dispatch", lambda pk, kind: None)
    clip = services.receive(cast.enrolment, cast.pupil, [grainy], "clip.mkv")
    with full_device(tmp_path / "programs"):
        tasks.prepare_playback(str(clip.pk))
    stage = clip.stages.get(kind=Stage.Kind.PLAYBACK)
    assert (stage.state, stage.failure_code) == (Stage.State.WAITING, "disk_full")
    assert files(settings.MEDIA_ROOT) == ["original"]


def test_a_copy_of_ours_that_is_broken_is_our_failure_and_is_not_kept(
    grainy, tmp_path, monkeypatch
):
    source = tmp_path / "source.mkv"
    source.write_bytes(grainy)
    target = tmp_path / "copy.mp4"

    def cut_short(made: Path, final: Path) -> None:
        final.write_bytes(made.read_bytes()[:2000])

    monkeypatch.setattr(jobs.durable, "publish", cut_short)
    with pytest.raises(Failed, match="stopped unexpectedly"):
        make_small(source, target, probe(source))
    assert not target.exists()
