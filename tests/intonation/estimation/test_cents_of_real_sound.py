"""Recorded bowed notes mixed at known mistuning, and what phones do to them."""

import subprocess

import imageio_ffmpeg
import numpy as np
import pytest
import soundfile

from studio.intonation.estimation import measure_sounding
from tests.intonation.estimation import tones


def size_of(event: tones.Mix, seed: int = 1) -> float:
    sounding = tones.coarse(np.random.default_rng(seed), event)
    return measure_sounding(event.y, event.sr, sounding).intervals[0].size_cents


def test_real_notes_mixed_at_known_sizes_are_within_their_labels():
    """The labels themselves are good to about half a cent (see the notes' README)."""
    errors = []
    for seed in range(20):
        size = [315.6, 386.3, 498.0, 702.0, 813.7, 884.4, 1586.3][seed % 7] + 4 * (seed % 5 - 2)
        event = tones.pair(
            seed, size, low_hz=205 * 1.07 ** (seed % 14), duration_s=1.5, maker=tones.real_note
        )
        errors.append(abs(size_of(event) - tones.true_size(event)))
    tones.assert_cents(float(np.median(errors)), 0.0, within=0.7)
    tones.assert_cents(float(np.percentile(errors, 90)), 0.0, within=4.0)


@pytest.mark.parametrize("codec", ["aac", "libopus"])
@pytest.mark.parametrize("size", [702.0, 1212.0], ids=["fifth", "octave+12c"])
def test_a_phone_codec_moves_an_interval_by_less_than_half_a_cent(codec, size, tmp_path):
    event = tones.pair(22, size, sr=44100, low_hz=262.0)
    suffix, rate = {"aac": ("m4a", "48k"), "libopus": ("opus", "24k")}[codec]
    ffmpeg = imageio_ffmpeg.get_ffmpeg_exe()
    wav, packed, back = (tmp_path / n for n in ("in.wav", f"x.{suffix}", "out.wav"))
    soundfile.write(wav, event.y, event.sr)
    quiet = [ffmpeg, "-v", "error", "-y"]
    subprocess.run([*quiet, "-i", wav, "-c:a", codec, "-b:a", rate, packed], check=True)
    subprocess.run([*quiet, "-i", packed, "-ar", "44100", back], check=True)
    clean = size_of(event)
    event.y = soundfile.read(back)[0]
    tones.assert_cents(size_of(event), clean, within=0.5)
