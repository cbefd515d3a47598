"""Good sound in odd files: covers of any size, samples that are no number, chained Ogg."""

import struct
import subprocess
from pathlib import Path

import numpy as np
import pytest

from studio.media import Limits, extract_sound, make_playable, probe, read_sound
from studio.media.errors import Refused
from studio.media.structure import is_chained

FFMPEG = ["ffmpeg", "-v", "error", "-y"]


def made(*arguments: object) -> Path:
    subprocess.run([*FFMPEG, *map(str, arguments)], check=True, timeout=60)
    return Path(str(arguments[-1]))


def tone(path: Path, hz: float, seconds: float, *codec: str) -> Path:
    return made("-f", "lavfi", "-i", f"sine={hz}:d={seconds}", *codec, path)


def heard(source: Path, folder: Path) -> tuple[np.ndarray, float]:
    info = probe(source)
    extract_sound(source, folder / "sound.wav", info)
    playable = make_playable(source, folder / "playable.m4a", info)
    y, _ = read_sound(folder / "sound.wav")
    assert playable.duration_s == pytest.approx(info.duration_s, abs=0.1)
    return y, info.duration_s


@pytest.mark.parametrize("ending", ["flac", "m4a", "mp3"])
def test_a_cover_of_twelve_million_pixels_refuses_no_sound(tmp_path, ending):
    """Larger than any film that is taken; it is never decoded."""
    cover = made("-f", "lavfi", "-i", "color=red:s=4000x3000", "-frames:v", 1, tmp_path / "c.png")
    both = ["-f", "lavfi", "-i", "sine=440:d=2", "-i", cover, "-map", 0, "-map", 1]
    options = ["-c:v", "copy", "-disposition:v", "attached_pic"]
    y, duration_s = heard(made(*both, *options, tmp_path / f"a.{ending}"), tmp_path)
    assert duration_s == pytest.approx(2.0, abs=0.1)
    assert np.abs(y).max() > 0.05
    assert not probe(tmp_path / f"a.{ending}").has_video


def test_a_film_of_that_size_is_refused_still(tmp_path):
    film = made(
        *("-f", "lavfi", "-i", "color=red:s=4000x3000:d=0.4:r=5", "-c:v", "mpeg4"),
        tmp_path / "f.mp4",
    )
    with pytest.raises(Refused) as refused:
        probe(film)
    assert refused.value.code == "too_large_picture"


def test_samples_that_are_no_number_are_silent(tmp_path):
    """IEEE floats in a WAV (format tag 3): NaN and infinities among a tone."""
    sr = 44_100
    y = (0.3 * np.sin(2 * np.pi * 440 * np.arange(2 * sr) / sr)).astype("<f4")
    y[1000:1100], y[5000], y[6000] = np.nan, np.inf, -np.inf
    data = y.tobytes()
    head = b"RIFF" + struct.pack("<I", 36 + len(data)) + b"WAVEfmt "
    head += struct.pack("<IHHIIHH", 16, 3, 1, sr, 4 * sr, 4, 32) + b"data"
    source = tmp_path / "floats.wav"
    source.write_bytes(head + struct.pack("<I", len(data)) + data)
    got, duration_s = heard(source, tmp_path)
    assert duration_s == pytest.approx(2.0, abs=0.01)
    assert np.abs(got[1005:1095]).max() < 0.01, "not a number is silence"
    around = np.r_[got[2000:4900], got[7000:80_000]]
    assert np.abs(around).max() == pytest.approx(0.3, abs=0.01), "the rest is as it was"


@pytest.mark.parametrize("codec", ["libvorbis", "libopus", "flac"])
def test_a_chained_ogg_is_read_whole(tmp_path, codec):
    """RFC 3533, section 4: streams one after another, each with times of its own."""
    first = tone(tmp_path / "1.ogg", 440, 3, "-c:a", codec)
    second = tone(tmp_path / "2.ogg", 660, 4, "-c:a", codec)
    chain = tmp_path / "chain.ogg"
    chain.write_bytes(first.read_bytes() + second.read_bytes())
    assert is_chained(chain)
    assert not is_chained(first)
    y, duration_s = heard(chain, tmp_path)
    assert duration_s == pytest.approx(7.0, abs=0.05)
    assert len(y) / 44_100 == pytest.approx(7.0, abs=0.05)
    assert [_hertz(y, at_s) for at_s in (1.5, 5.0, 6.5)] == [440, 660, 660]


def test_a_chain_beyond_the_longest_clip_is_refused(tmp_path):
    one = tone(tmp_path / "1.ogg", 440, 3, "-c:a", "libvorbis").read_bytes()
    chain = tmp_path / "chain.ogg"
    chain.write_bytes(one * 4)
    with pytest.raises(Refused) as refused:
        probe(chain, Limits(max_duration_s=10.0))
    assert refused.value.code == "too_long"


def _hertz(y: np.ndarray, at_s: float) -> int:
    part = y[int(at_s * 44_100) :][:8820] * np.hanning(8820)
    return round(float(np.argmax(np.abs(np.fft.rfft(part)))) * 5)
