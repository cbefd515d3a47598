"""The frame times that are read from a copy's tables, against every frame that decodes."""

from collections.abc import Callable
from pathlib import Path

import av
import numpy as np
import pytest

from studio.media import frame_times, make_playable, probe
from tests.media.recordings import AAC, H264, flash_and_click

# Every third frame, then all of the next second, and so on: what a phone does in the dark.
UNEVEN = "select='if(lt(mod(t,2),1),not(mod(n,3)),1)'"


def reader(path: Path) -> Callable[[int, int], bytes]:
    data = path.read_bytes()
    return lambda first, length: data[first : first + length]


def decoded(path: Path) -> list[float]:
    with av.open(str(path)) as container:
        return sorted(float(frame.time) for frame in container.decode(video=0))


@pytest.mark.sweep(1 / 3)
@pytest.mark.parametrize("rate", ["24", "25", "30000/1001", "30", "60000/1001"])
@pytest.mark.parametrize("reencoded", [False, True], ids=["copied", "encoded"])
def test_times_are_those_of_the_frames_that_decode(tmp_path, rate, reencoded):
    coding = (*H264, "-bf", "2") if not reencoded else ("-c:v", "libvpx", "-deadline", "realtime")
    sound = AAC if not reencoded else ("-c:a", "libopus")
    source = flash_and_click(
        tmp_path / ("in.webm" if reencoded else "in.mp4"), *coding, *sound, rate=rate
    )
    made = make_playable(source, tmp_path / "out.mp4", probe(source))
    assert made.copied is not reencoded
    times = frame_times(reader(tmp_path / "out.mp4"))
    np.testing.assert_allclose(times, decoded(tmp_path / "out.mp4"), atol=0.0001)
    assert times[0] == pytest.approx(0, abs=0.002)


@pytest.mark.parametrize("reencoded", [False, True], ids=["copied", "encoded"])
def test_uneven_times_stay_uneven_in_the_copy_and_are_read(tmp_path, reencoded):
    uneven = ("-vf", UNEVEN, "-fps_mode", "vfr", *H264, *AAC)
    # 4:4:4 is no browser's: it is encoded again.
    uneven = (*uneven, "-pix_fmt", "yuv444p") if reencoded else uneven
    source = flash_and_click(tmp_path / "in.mp4", *uneven)
    made = make_playable(source, tmp_path / "out.mp4", probe(source))
    assert made.copied is not reencoded
    times = frame_times(reader(tmp_path / "out.mp4"))
    np.testing.assert_allclose(times, decoded(tmp_path / "out.mp4"), atol=0.0001)
    steps = np.diff(times)
    assert steps.min() == pytest.approx(1 / 30, abs=0.002)
    assert steps.max() == pytest.approx(3 / 30, abs=0.002)


def test_sound_alone_has_no_frames(tmp_path):
    source = flash_and_click(tmp_path / "in.mp4", "-vn", *AAC)
    make_playable(source, tmp_path / "out.m4a", probe(source))
    assert len(frame_times(reader(tmp_path / "out.m4a"))) == 0


@pytest.mark.parametrize("cut", [0, 10, 200, 900])
def test_a_broken_head_is_refused_with_a_sentence(tmp_path, cut):
    source = flash_and_click(tmp_path / "in.mp4", *H264, *AAC, "-movflags", "+faststart")
    data = source.read_bytes()[:cut]
    with pytest.raises(ValueError, match=r"MP4|moov|box"):
        frame_times(lambda first, length: data[first : first + length])
