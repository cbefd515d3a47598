"""A studio with clips of a quarter of an hour: two thousand made-up events, a real recording.

The recording is a short one repeated, so that it is made in seconds: 640 × 360 at 25 frames a
second, H.264 and AAC, with a steady tone. What was heard in it is written, not listened to.
"""

import shutil
import subprocess
from pathlib import Path

from studio.clips.models import Clip, Rendition
from studio.clips.storage import spool
from studio.media import extract_sound, probe, waveform_peaks
from tests.cast import Cast, make_clip
from tests.review.heard_clip import listen_again
from tests.review.long_clip import DURATION_S, EVENTS, long_measurement

FRAME_RATE = 25.0
PIECE_S = 20.0
SIZE = "640x360"


def make_long_clips(cast: Cast, many: int, folder: Path, *, with_sound: bool = True) -> list[Clip]:
    """Clips that wait for the teacher, each never opened before."""
    recording = _recording(folder)
    outline = _outline(recording, folder) if with_sound else None
    stored = long_measurement(EVENTS, DURATION_S)
    clips = []
    for number in range(many):
        clip = make_clip(
            cast.enrolment,
            f"Scales in thirds, sixths and octaves {number + 1}",
            has_audio=True,
            duration_s=DURATION_S,
            frame_rate=FRAME_RATE,
        )
        listen_again(clip, stored)
        _keep(clip, "playable", "video/mp4", ".mp4", recording)
        if outline:
            _keep(clip, "peaks", "application/json", ".json", outline)
        clips.append(clip)
    return clips


def _recording(folder: Path) -> Path:
    piece, whole = folder / "piece.mp4", folder / "whole.mp4"
    picture = f"testsrc2=s={SIZE}:r={FRAME_RATE:g}:d={PIECE_S:g}"
    sound = f"sine=440:b=2:r=44100:d={PIECE_S:g}"
    # A key frame each second, as in the copies that the studio makes: seeking is quick.
    codecs = ("-c:v", "libx264", "-preset", "ultrafast", "-crf", "30", "-g", f"{FRAME_RATE:g}")
    sources = ("-f", "lavfi", "-i", picture, "-f", "lavfi", "-i", sound)
    _ffmpeg(*sources, *codecs, "-pix_fmt", "yuv420p", "-c:a", "aac", str(piece))
    again = str(round(DURATION_S / PIECE_S) - 1)
    copied = ("-c", "copy", "-movflags", "+faststart", "-t", f"{DURATION_S - 0.5:g}")
    _ffmpeg("-stream_loop", again, "-i", str(piece), *copied, str(whole))
    return whole


def _outline(recording: Path, folder: Path) -> Path:
    wav, outline = folder / "sound.wav", folder / "peaks.json"
    extract_sound(recording, wav, probe(recording))
    outline.write_bytes(waveform_peaks(wav))
    return outline


def _keep(clip: Clip, kind: str, content_type: str, ending: str, made: Path) -> None:
    part = spool.bench_path(ending)
    shutil.copyfile(made, part)
    stored = spool.keep(spool.finished(part), f"{spool.clip_folder(clip.pk)}/{kind}{ending}")
    Rendition.objects.create(
        clip=clip,
        kind=kind,
        path=stored.path,
        sha256=stored.sha256,
        size_bytes=stored.size_bytes,
        content_type=content_type,
    )


def _ffmpeg(*arguments: str) -> None:
    subprocess.run(["ffmpeg", "-v", "error", "-y", *arguments], check=True)
