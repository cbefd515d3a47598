"""One time axis: what is heard and what is seen at t agree, whatever the source does."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from studio.media import MediaInfo, extract_sound, make_playable, make_small, probe, read_sound
from tests.media.recordings import (
    AAC,
    EVENTS_S,
    H264,
    Moments,
    ffmpeg,
    flash_and_click,
    moments,
    onsets,
    turn,
    white_frames,
)

AGREE_S = 0.010  # the service's own bound
WEBM = ("-c:v", "libvpx", "-deadline", "realtime", "-b:v", "300k", "-c:a", "libopus")


def mp4(path: Path) -> Path:
    return flash_and_click(path / "a.mp4", *H264, *AAC)


def b_frames_at_29_97(path: Path) -> Path:
    b_frames = ("-c:v", "libx264", "-bf", "3", "-pix_fmt", "yuv420p")
    return flash_and_click(path / "a.mp4", *b_frames, *AAC, rate="30000/1001")


def mov_with_edit_list(path: Path) -> Path:
    whole = flash_and_click(path / "whole.mp4", *H264, "-g", "300", *AAC)
    ffmpeg("-ss", "0.33", "-i", str(whole), "-c", "copy", str(path / "cut.mov"))
    return path / "cut.mov"


def webm_without_length(path: Path) -> Path:
    return flash_and_click(path / "a.webm", *WEBM, "-f", "webm", through_pipe=True)


def matroska_starting_at_three(path: Path) -> Path:
    late = ("-output_ts_offset", "3")
    return flash_and_click(path / "a.mkv", *H264, *AAC, *late)


def variable_rate(path: Path) -> Path:
    # Every event stands on a frame whose number is a multiple of 3.
    kept = "select='not(mod(n,3))+lt(mod(n,40),9)'"
    return flash_and_click(path / "a.mp4", "-vf", kept, "-fps_mode", "vfr", *H264, *AAC)


def picture_late(path: Path) -> Path:
    later = ("-vf", "setpts=PTS+0.4/TB", "-fps_mode", "passthrough")
    return flash_and_click(path / "a.mp4", *later, *H264, *AAC)


def sound_late(path: Path) -> Path:
    return flash_and_click(path / "a.mp4", *H264, *AAC, before_sound=("-itsoffset", "0.25"))


def turned(path: Path) -> Path:
    return turn(flash_and_click(path / "a.mov", *H264, *AAC), 90)


def ten_bit_hevc(path: Path) -> Path:
    hevc = ("-c:v", "libx265", "-preset", "ultrafast", "-pix_fmt", "yuv420p10le")
    return flash_and_click(path / "a.mov", *hevc, "-x265-params", "log-level=none", *AAC)


def fragmented(path: Path) -> Path:
    pieces = ("-movflags", "frag_keyframe+empty_moov+default_base_moof", "-f", "mp4")
    return flash_and_click(path / "a.mp4", *H264, "-g", "30", *AAC, *pieces, through_pipe=True)


def fast_120(path: Path) -> Path:
    return flash_and_click(path / "a.mp4", *H264, *AAC, rate="120")


@pytest.mark.sweep(1 / 3)
@pytest.mark.parametrize(
    ("make", "flash_after_click_s"),
    [
        (mp4, 0.0),
        (b_frames_at_29_97, 0.0),
        (mov_with_edit_list, 0.0),
        (webm_without_length, 0.0),
        (matroska_starting_at_three, 0.0),
        pytest.param(
            variable_rate,
            0.0,
            marks=pytest.mark.fault(
                19, "variable frame rate", "a moment heard is a moment seen, within one frame"
            ),
        ),
        (picture_late, 0.4),
        (sound_late, -0.25),
        (turned, 0.0),
        (ten_bit_hevc, 0.0),
        (fragmented, 0.0),
        (fast_120, 0.0),
    ],
    ids=lambda value: getattr(value, "__name__", None),
)
@pytest.mark.parametrize("tools", ["auto", "wheels"])
def test_clicks_and_flashes_agree(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    make: object,
    flash_after_click_s: float,
    tools: str,
    seen: Callable[[str], None],
) -> None:
    monkeypatch.setenv("MEDIA_TOOLS", tools)
    source = make(tmp_path)  # type: ignore[operator]
    info, clicks, played = prepare(source, tmp_path)
    assert played.first_frame_s == pytest.approx(0.0, abs=0.002)
    assert_same(clicks, played.clicks_s)
    assert len(played.flashes_s) == len(EVENTS_S)
    # An event's flash and click may each be cut at 0; from the end, both are there.
    heard = np.array(clicks[::-1])
    watched = np.array(played.flashes_s[::-1])[: len(heard)]
    assert len(heard) >= 4
    frame_s = 0.5 / (info.frame_rate or 30) if info.frame_rate and info.frame_rate < 29.98 else 0
    apart_s = np.abs(watched - heard - flash_after_click_s).max()
    assert apart_s < AGREE_S + frame_s
    the_small_copy_has_the_same_axis(source, info, tmp_path)
    seen(f"click and flash at most {1000 * apart_s:.1f} ms apart ({tools})")


def the_small_copy_has_the_same_axis(source: Path, info: MediaInfo, folder: Path) -> None:
    """Its clicks are the full copy's, and each of its frames shows what the full one shows then."""
    make_small(source, folder / "small.mp4", info)
    full, small = moments(folder / "playable.mp4"), moments(folder / "small.mp4")
    assert_same(full.clicks_s, small.clicks_s)
    assert small.first_frame_s == pytest.approx(0.0, abs=0.002)
    many, few = white_frames(folder / "playable.mp4"), white_frames(folder / "small.mp4")
    assert 5 * info.duration_s < len(few) <= 16 * info.duration_s
    times = np.array([at for at, _ in many])
    for at, is_white in few:
        nearest = int(np.abs(times - at).argmin())
        assert abs(times[nearest] - at) < AGREE_S
        assert many[nearest][1] == is_white, f"at {at:.3f} s"
    assert any(is_white for _, is_white in few)


def prepare(source: Path, folder: Path) -> tuple[MediaInfo, tuple[float, ...], Moments]:
    info = probe(source)
    extract_sound(source, folder / "sound.wav", info)
    make_playable(source, folder / "playable.mp4", info)
    y, sr = read_sound(folder / "sound.wav")
    return info, onsets(y, sr), moments(folder / "playable.mp4")


def assert_same(one: tuple[float, ...], other: tuple[float, ...]) -> None:
    assert len(one) == len(other) > 0
    assert np.abs(np.subtract(one, other)).max() < AGREE_S


def test_sound_before_the_first_picture_is_cut_and_said(tmp_path: Path) -> None:
    later = ("-vf", "setpts=PTS+1.2/TB", "-fps_mode", "passthrough")
    info = probe(flash_and_click(tmp_path / "a.mp4", *later, *H264, *AAC))
    assert info.cut_sound_s == pytest.approx(1.2, abs=0.05)
    assert "began 1.2 s after the sound" in info.notes[0].sentence
