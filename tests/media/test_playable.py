"""The copy that browsers play, its poster, and the outline of its sound."""

import base64
import json
from dataclasses import replace
from pathlib import Path

import av
import numpy as np
import pytest

from studio.media import (
    Limits,
    MediaInfo,
    Note,
    extract_sound,
    make_playable,
    make_poster,
    make_small,
    probe,
    read_blocks,
    read_sound,
    waveform_peaks,
)
from studio.media.playable import MOST_COPIED_BITS_S
from tests.media.recordings import AAC, H264, ffmpeg, flash_and_click


@pytest.fixture(scope="module")
def good(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return flash_and_click(tmp_path_factory.mktemp("good") / "good.mp4", *H264, *AAC)


@pytest.fixture(scope="module")
def wav(good: Path) -> Path:
    extract_sound(good, good.with_suffix(".wav"), probe(good))
    return good.with_suffix(".wav")


def index_comes_first(path: Path) -> bool:
    content = path.read_bytes()
    return content.index(b"moov") < content.index(b"mdat")


def test_qualifying_source_is_copied_not_encoded(tmp_path: Path, good: Path) -> None:
    assert not index_comes_first(good)
    made = make_playable(good, tmp_path / "a.mp4", probe(good))
    assert made.copied
    assert made.mime_type == "video/mp4"
    assert index_comes_first(tmp_path / "a.mp4")


def test_what_is_heavier_than_our_own_copies_is_encoded_though_it_would_qualify(
    tmp_path: Path, good: Path
) -> None:
    info = probe(good)
    heavy = replace(info, size_bytes=round(MOST_COPIED_BITS_S / 8 * info.duration_s) + 1)
    assert not make_playable(good, tmp_path / "a.mp4", heavy).copied


def test_the_small_copy_is_light_and_needs_little_before_its_first_picture(tmp_path: Path) -> None:
    moving = ("-f", "lavfi", "-i", "testsrc2=s=1280x720:r=30:d=12")
    ffmpeg(*moving, "-f", "lavfi", "-i", "sine=d=12", *H264, *AAC, str(tmp_path / "a.mp4"))
    made = make_small(tmp_path / "a.mp4", tmp_path / "b.mp4", probe(tmp_path / "a.mp4"))
    assert (made.width, made.height) == (480, 270)
    assert made.frame_rate == pytest.approx(15, abs=0.2)
    assert 8 * made.size_bytes / made.duration_s < 300_000
    content = (tmp_path / "b.mp4").read_bytes()
    index_bytes = content.index(b"mdat")
    assert index_comes_first(tmp_path / "b.mp4")
    assert index_bytes / made.duration_s < 350, "three minutes in less than 64 kB"
    keys = [time for time, is_key in pictures(tmp_path / "b.mp4") if is_key]
    assert max(np.diff(keys)) < 2.1, "a seek is quick"


def pictures(path: Path) -> list[tuple[float, bool]]:
    with av.open(str(path)) as container:
        packets = [packet for packet in container.demux(video=0) if packet.pts is not None]
        assert all(packet.pts == packet.dts for packet in packets), "none waits for a later one"
        return [(float(packet.pts * packet.time_base), packet.is_keyframe) for packet in packets]


def test_a_small_copy_of_sound_alone_is_not_made(tmp_path: Path, good: Path) -> None:
    with pytest.raises(ValueError, match="has_video is False"):
        make_small(good, tmp_path / "a.mp4", replace(probe(good), has_video=False))


def test_large_picture_is_scaled_to_even_sides(tmp_path: Path) -> None:
    large = ("-f", "lavfi", "-i", "testsrc=s=1998x1078:r=30:d=1", *H264)
    ffmpeg(*large, str(tmp_path / "a.mp4"))
    made = make_playable(tmp_path / "a.mp4", tmp_path / "b.mp4", probe(tmp_path / "a.mp4"))
    assert (made.width, made.height) == (1280, 690)
    assert index_comes_first(tmp_path / "b.mp4")


@pytest.mark.parametrize("encoded", [False, True])
def test_place_and_title_are_dropped(tmp_path: Path, good: Path, encoded: bool) -> None:
    told = ("-metadata", "title=kitchen at home", "-metadata", "location=+48.1+011.5/")
    source = tmp_path / "a.mov"
    kept = (
        (*H264, "-vf", "scale=100:80,format=yuv422p", "-c:a", "copy") if encoded else ("-c", "copy")
    )
    ffmpeg("-i", str(good), *kept, *told, str(source))
    assert b"kitchen" in source.read_bytes()
    made = make_playable(source, tmp_path / "b.mp4", probe(source))
    content = (tmp_path / "b.mp4").read_bytes()
    assert made.copied
    assert b"kitchen" not in content
    assert b"+48.1" not in content


def test_what_progress_raises_stops_the_job(
    tmp_path: Path, good: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    info, target = probe(good), tmp_path / "made" / "a.wav"
    target.parent.mkdir()
    lines = "\n".join(f"echo out_time_us={second}000000; sleep 0.6" for second in range(1, 9))
    (tmp_path / "slow").write_text(f"#!/bin/sh\n{lines}\n")
    (tmp_path / "slow").chmod(0o755)
    monkeypatch.setenv("FFMPEG", str(tmp_path / "slow"))
    seen: list[float] = []

    def stop(fraction: float) -> None:
        seen.append(fraction)
        if len(seen) == 3:
            raise InterruptedError("the lease is gone")

    with pytest.raises(InterruptedError):
        extract_sound(good, target, info, on_progress=stop)
    assert seen == sorted(seen)
    assert 0 < seen[-1] < 1
    assert list(target.parent.iterdir()) == []


def test_progress_ends_at_one(tmp_path: Path, good: Path) -> None:
    seen: list[float] = []
    extract_sound(good, tmp_path / "a.wav", probe(good), on_progress=seen.append)
    assert seen[-1] == 1.0


def test_poster_is_a_small_jpeg(tmp_path: Path, good: Path) -> None:
    assert make_poster(good, tmp_path / "a.jpg", probe(good)) == (160, 120)
    assert (tmp_path / "a.jpg").read_bytes()[:3] == b"\xff\xd8\xff"


def test_info_goes_through_json(good: Path) -> None:
    info = probe(good)
    assert MediaInfo.from_dict(json.loads(json.dumps(info.to_dict()))) == info
    assert Note("damaged").sentence.startswith("Parts of the recording are damaged")


def test_blocks_join_to_the_whole(wav: Path) -> None:
    y, sr = read_sound(wav)
    assert sr == 44_100
    assert y.dtype == np.float32
    blocks = list(read_blocks(wav, block_s=0.7))
    assert np.array_equal(np.concatenate([block for _, block in blocks]), y)
    overlapping = list(read_blocks(wav, block_s=1.0, overlap_s=0.25))
    assert overlapping[1][0] == pytest.approx(0.75)
    assert np.array_equal(overlapping[0][1][-11_025:], overlapping[1][1][:11_025])
    with pytest.raises(ValueError, match=r"overlap_s is 1\.0"):
        next(read_blocks(wav, block_s=1.0, overlap_s=1.0))


def test_outline_holds_least_and_greatest_on_every_level(wav: Path) -> None:
    y, sr = read_sound(wav)
    document = json.loads(waveform_peaks(wav, per_second=100))
    assert document["duration_s"] == pytest.approx(len(y) / sr, abs=1e-4)
    assert [level["per_second"] for level in document["levels"]] == [100.0, 25.0]
    for level in document["levels"]:
        pairs = np.frombuffer(base64.b64decode(level["data"]), np.int8).reshape(-1, 2)
        assert len(pairs) == level["count"]
        span = round(sr / level["per_second"])
        for i in (0, 15, len(pairs) // 2, len(pairs) - 2):
            piece = y[i * span : (i + 1) * span]
            expected = (round(float(piece.min()) * 127), round(float(piece.max()) * 127))
            assert tuple(pairs[i]) == pytest.approx(expected, abs=1)
    with pytest.raises(ValueError, match="per_second is 97"):
        waveform_peaks(wav, per_second=97)


@pytest.mark.parametrize("encoded", [False, True])
def test_clip_at_the_very_bound_is_not_refused_by_its_own_copy(
    tmp_path: Path, good: Path, encoded: bool
) -> None:
    source = good
    if encoded:
        source = flash_and_click(tmp_path / "a.webm", "-c:v", "libvpx", "-c:a", "libopus")
    info = probe(source)
    limits = Limits(max_duration_s=info.duration_s, max_bytes=info.size_bytes)
    made = make_playable(source, tmp_path / "b.mp4", info, limits)
    assert made.copied is not encoded
    assert made.duration_s == pytest.approx(info.duration_s, abs=0.1)


def test_copy_that_was_stopped_leaves_nothing(tmp_path: Path, good: Path) -> None:
    def stop(fraction: float) -> None:
        if fraction > 0.5:
            raise InterruptedError("the lease is gone")

    with pytest.raises(InterruptedError):
        make_playable(good, tmp_path / "b.mp4", probe(good), on_progress=stop)
    assert list(tmp_path.iterdir()) == []
