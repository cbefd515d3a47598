"""The copies that browsers play: H.264 and AAC in MP4, upright, on the one time axis.

The full copy's rate is bounded. A source that already qualifies is not encoded again: its packets
are copied, and the copy is kept only when all of it decodes and its axis is shown to agree (first
picture at 0, sound identical sample by sample with what is extracted from the source).

The small copy is for slow connections: 480 px, about 15 pictures a second, at most 220 kbit/s of
picture and 64 kbit/s of sound. Before a browser can show anything it needs the file's index, whose
size follows the number of frames of picture and of sound; so half of a camera's frames are left
out, and those that stay keep their times. Metadata (place, title) and chapters are dropped.
"""

import tempfile
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

import ffmpeg
import numpy as np

from studio import durable
from studio.figures import MB
from studio.media.errors import Failed, Note, Refused, reading_notes
from studio.media.jobs import Job, picture, sound, transcode
from studio.media.limits import Limits
from studio.media.probe import MediaInfo, probe
from studio.media.runner import PART_PREFIX, Progress, part_of
from studio.media.sound import extract_sound, loudest_channel, read_sound, sound_job

H264_PROFILES = ("Constrained Baseline", "Baseline", "Main", "High")
COPY_TOLERANCE_S = 0.002  # a copy's first picture may sit this far from 0
PROOF_S = 20.0  # how much sound is compared to prove a copy's axis
KEYFRAME_S = 2.0  # a seek lands within this of a key frame
CHUNK_US = 500_000  # picture and sound alternate so often in the file: each time costs 16 bytes
POSTER_SIDE = 640
STILL_REACH_S = (0.5, 30.0)  # how far back a frame is looked for that is still shown
STILL_SLACK_S = 0.001  # a browser's time of a frame is rounded
H264 = {
    **{"c:v": "libx264", "preset": "veryfast", "crf": 23, "profile:v": "high", "fps_mode": "vfr"},
    "force_key_frames": f"expr:gte(t,n_forced*{KEYFRAME_S})",
}
FULL_HD_PIXELS = 1920 * 1088
# What is copied may have no more bits a second on average than what is encoded here at its peak.
MOST_COPIED_BITS_S = 2_650_000  # picture and sound
MOST_COPIED_SOUND_BITS_S = 160_000  # sound alone
SMALL_SIDE = 480
SMALL_STEP_S = 0.06  # between two frames of the small copy: of 30 a second every other one stays
SMALL_TICKS_S = 120  # their times are rounded to this grid (4 ms), so that the index stays small


@dataclass(frozen=True, slots=True)
class Form:
    """How a copy is encoded: options of ffmpeg for picture and sound."""

    picture: dict[str, Any]
    sound: dict[str, Any]
    least_step_s: float = 0.0  # frames that follow sooner than this are left out


FULL = Form(H264 | {"maxrate": "2500k", "bufsize": "5M"}, {"c:a": "aac", "b:a": "128k"})
SMALL = Form(
    # A short buffer keeps key frames small; without B-frames the index needs no second table.
    H264
    | {"maxrate": "220k", "bufsize": "132k", "bf": 0}
    | {"enc_time_base:v": f"1:{SMALL_TICKS_S}"},
    {"c:a": "aac", "b:a": "64k", "ar": 32_000},
    least_step_s=SMALL_STEP_S,
)


@dataclass(frozen=True, slots=True)
class PlayableInfo:
    """The playable copy. ``copied`` says that the source's packets were kept as they were."""

    duration_s: float
    has_video: bool
    has_audio: bool
    width: int | None
    height: int | None
    frame_rate: float | None
    copied: bool
    size_bytes: int
    mime_type: str
    notes: tuple[Note, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """All fields, ready for JSON."""
        return asdict(self)


def make_playable(
    source: Path | str,
    target_mp4: Path | str,
    info: MediaInfo,
    limits: Limits | None = None,
    on_progress: Progress | None = None,
) -> PlayableInfo:
    """Write the playable copy of ``source`` to ``target_mp4`` (M4A data when there is no picture).

    ``on_progress`` gets 0..1 about twice a second; what it raises stops the job. It starts again
    from 0 when a copy turns out not to do. The file appears whole or not at all.

    Raises
    ------
    Refused
        ``unreadable``.
    Failed
        ``timeout``, ``disk_full``, ``output_too_large``, ``tool_missing``, ``crashed``.
    """
    limits, source, target = limits or Limits(), Path(source), Path(target_mp4)
    if qualifies_for_copy(info, limits):
        made = _copy(source, target, info, limits, on_progress)
        if made is not None:
            return made
    damaged = _encode(source, target, info, limits, FULL, on_progress)
    return _describe(target, info, limits, copied=False, damaged=damaged)


def make_small(
    source: Path | str,
    target_mp4: Path | str,
    info: MediaInfo,
    limits: Limits | None = None,
    on_progress: Progress | None = None,
) -> PlayableInfo:
    """Write the small copy of ``source``, which has a picture. As :func:`make_playable`.

    Raises ``ValueError`` when there is no picture.
    """
    limits, source, target = limits or Limits(), Path(source), Path(target_mp4)
    if not info.has_video:
        raise ValueError("info.has_video is False; make a small copy only where there is a picture")
    small = replace(limits, long_side=SMALL_SIDE, max_frame_rate_scaled=limits.max_frame_rate)
    damaged = _encode(source, target, info, small, SMALL, on_progress)
    return _describe(target, info, small, copied=False, damaged=damaged)


def qualifies_for_copy(info: MediaInfo, limits: Limits) -> bool:
    """Whether the source's packets can be served as they are, in a new container."""
    if "mov" not in info.container or info.is_partial or not info.has_audio:
        return False
    most = MOST_COPIED_BITS_S if info.has_video else MOST_COPIED_SOUND_BITS_S
    if 8 * info.size_bytes > most * info.duration_s:
        return False
    sound_fits = (
        info.audio_codec == "aac"
        and info.audio_profile in ("LC", None)
        and (info.audio_channels or 0) <= 2
        and (info.audio_rate_hz or 0) <= 48_000
    )
    if not info.has_video or not sound_fits:
        return sound_fits
    assert info.width is not None
    assert info.height is not None
    return (
        info.video_codec == "h264"
        and info.video_profile in H264_PROFILES
        and info.pixel_format in ("yuv420p", "yuvj420p")
        and info.rotation_deg == 0
        and info.video_streams == 1
        and max(info.width, info.height) <= limits.long_side
        and (info.frame_rate or 0) <= limits.max_frame_rate + 1
        and abs(info.origin_s) <= COPY_TOLERANCE_S
    )


def _streams(node: Any, info: MediaInfo) -> list[Any]:
    streams = [picture(node, info)] if info.has_video else []
    return [*streams, node[str(info.audio_index)]] if info.has_audio else streams


BARE = {"map_metadata": -1, "map_chapters": -1, "movflags": "+faststart", "f": "mp4", "sn": None}


def _copy(
    source: Path, target: Path, info: MediaInfo, limits: Limits, on_progress: Progress | None
) -> PlayableInfo | None:
    """Copy packets; ``None``, and no file, when they do not all decode or the axis differs."""

    def build(node: Any, output: str) -> Any:
        return ffmpeg.output(*_streams(node, info), output, c="copy", **BARE)

    room = info.size_bytes + 10 * MB
    copying, checking = part_of(on_progress, 0.0, 0.1), part_of(on_progress, 0.1, 0.8)
    job = Job(limits, limits.sound_timeout_s(info.duration_s), room, info.duration_s, copying)
    with tempfile.TemporaryDirectory(prefix=PART_PREFIX, dir=target.parent) as folder:
        copy = Path(folder, target.name)
        if transcode(source, copy, build, job).damaged:
            return None
        if not _decodes(copy, info, limits, checking):
            return None
        if not _same_axis(source, copy, info, limits, on_progress):
            return None
        durable.publish(copy, target)
    return _describe(target, info, limits, copied=True, damaged=False)


def _decodes(copy: Path, info: MediaInfo, limits: Limits, on_progress: Progress | None) -> bool:
    """Whether every packet of the copy decodes; a browser would stop at one that does not."""

    def build(node: Any, output: str) -> Any:
        return node.output(output, f="null")

    timeout_s = limits.playable_timeout_s(info.duration_s)
    job = Job(limits, timeout_s, MB, info.duration_s, on_progress)
    return not transcode(copy, None, build, job).damaged


def _for_our_own(limits: Limits) -> Limits:
    """Bounds for what we made: an encoder's last frame must not take a clip over the line."""
    longer_s = limits.max_duration_s + 60
    return replace(limits, max_duration_s=longer_s, max_bytes=limits.max_bytes * 2)


def _same_axis(
    source: Path, target: Path, info: MediaInfo, limits: Limits, on_progress: Progress | None
) -> bool:
    """Whether both give the same sound, sample by sample, and the picture begins at 0."""
    copy = probe(target, _for_our_own(limits))
    if copy.has_video != info.has_video or copy.has_audio != info.has_audio:
        return False
    if info.has_video and abs(copy.origin_s) > COPY_TOLERANCE_S:
        return False
    if abs(copy.duration_s - info.duration_s) > 0.1:
        return False
    beginning = replace(limits, max_duration_s=PROOF_S)
    with tempfile.TemporaryDirectory(prefix="axis-") as folder:
        heard = []
        for path, of, start in ((source, info, 0.8), (target, copy, 0.9)):
            wav = Path(folder, "sound.wav")
            extract_sound(path, wav, of, beginning, part_of(on_progress, start, start + 0.1))
            y, sr = read_sound(wav)
            heard.append(y[: round(PROOF_S * sr)])
    n = min(map(len, heard))
    return n > 0 and float(np.max(np.abs(heard[0][:n] - heard[1][:n]))) < 0.002


def _scaled(info: MediaInfo, long_side: int) -> tuple[int, int]:
    """Even width and height within ``long_side``, never larger than the source."""
    assert info.width is not None
    assert info.height is not None
    factor = min(1.0, long_side / max(info.width, info.height))

    def even(side: int) -> int:
        return max(2, round(side * factor / 2) * 2)

    return even(info.width), even(info.height)


def _shown(node: Any, info: MediaInfo, limits: Limits, form: Form) -> Any:
    """The picture, scaled, 8 bit 4:2:0, on the one time axis; its own frame times are kept."""
    width, height = _scaled(info, limits.long_side)
    stream = picture(node, info).filter("setpts", f"PTS-{info.origin_s:.6f}/TB")
    is_scaled = max(info.width or 0, info.height or 0) > limits.long_side
    most = limits.max_frame_rate_scaled if is_scaled else limits.max_frame_rate
    if (info.frame_rate or 0) > most + 1:
        stream = stream.filter("fps", most)
    if form.least_step_s:
        late = f"gte(t-prev_selected_t,{form.least_step_s})"
        stream = stream.filter("select", f"isnan(prev_selected_t)+{late}")
    stream = stream.filter("scale", width, height).filter("setsar", 1)
    return stream.filter("format", "yuv420p")


def _threads(info: MediaInfo, limits: Limits) -> int:
    pixels = (info.width or 0) * (info.height or 0)
    return limits.threads_4k if pixels > FULL_HD_PIXELS else limits.threads


def _encode(
    source: Path,
    target: Path,
    info: MediaInfo,
    limits: Limits,
    form: Form,
    on_progress: Progress | None,
) -> bool:
    """Encode afresh; returns whether parts of the source did not decode."""
    longest_s = min(info.duration_s, limits.max_duration_s) + 1.0
    surround = (info.audio_channels or 1) > 2
    # More than two channels: what was measured is what is heard.
    channel = loudest_channel(source, info, limits) if info.has_audio and surround else None
    threads = _threads(info, limits)

    def build(node: Any, output: str) -> Any:
        streams: list[Any] = []
        options = {**BARE, "copyts": None, "t": longest_s, "threads": threads}
        if info.has_video:
            streams.append(_shown(node, info, limits, form))
            options |= form.picture
            options["chunk_duration"] = CHUNK_US
        if info.has_audio:
            streams.append(sound(node, info, channel))
            rate_hz = 44_100 if info.audio_rate_hz == 44_100 else 48_000
            options |= {"ar": rate_hz} | form.sound
        return ffmpeg.output(*streams, output, **options)

    job = sound_job(info, limits, on_progress)
    if info.has_video:
        timeout_s = limits.playable_timeout_s(longest_s)
        room = round(longest_s * MB) + 20 * MB  # 8 Mbit/s, twice the peak allowed above
        job = Job(limits, timeout_s, room, info.duration_s, on_progress, threads=threads)
    return transcode(source, target, build, job).damaged


def _describe(
    target: Path, source_info: MediaInfo, limits: Limits, *, copied: bool, damaged: bool
) -> PlayableInfo:
    try:
        made = probe(target, _for_our_own(limits))
    except Refused as error:  # what we made is broken: our failure, never the recording's
        target.unlink(missing_ok=True)
        raise Failed("crashed", exit_code=0, detail=f"the copy made is refused: {error}") from error
    if source_info.has_video and not made.has_video:
        target.unlink(missing_ok=True)
        raise Refused("unreadable")
    notes = reading_notes(
        is_partial=source_info.is_partial,
        got_s=made.duration_s,
        stated_s=source_info.stated_duration_s,
        damaged=damaged,
    )
    return PlayableInfo(
        duration_s=made.duration_s,
        has_video=made.has_video,
        has_audio=made.has_audio,
        width=made.width,
        height=made.height,
        frame_rate=made.frame_rate,
        copied=copied,
        size_bytes=made.size_bytes,
        mime_type="video/mp4" if made.has_video else "audio/mp4",
        notes=notes,
    )


def make_poster(
    source: Path | str,
    target_jpg: Path | str,
    info: MediaInfo,
    limits: Limits | None = None,
    at_s: float | None = None,
) -> tuple[int, int]:
    """Write one upright JPEG picture (long side at most 640) and return (width, height).

    ``at_s`` defaults to a tenth of the clip, at most 2 s in: past the reach for the button.
    Raises ``ValueError`` when there is no picture; else as :func:`make_playable`.
    """
    limits, source, target = limits or Limits(), Path(source), Path(target_jpg)
    if not info.has_video:
        raise ValueError("info.has_video is False; make a poster only where there is a picture")
    at_s = min(2.0, info.duration_s / 10) if at_s is None else at_s
    width, height = _scaled(info, POSTER_SIDE)

    def build(node: Any, output: str) -> Any:
        stream = picture(node, info).filter("setpts", f"PTS-{info.origin_s:.6f}/TB")
        stream = stream.filter("trim", start=at_s, end=at_s + 5).filter("setpts", "PTS-STARTPTS")
        stream = stream.filter("scale", width, height).filter("setsar", 1)
        plain = {"f": "image2", "c:v": "mjpeg", "q:v": 4, "frames:v": 1, "update": 1}
        return stream.output(output, map_metadata=-1, pix_fmt="yuvj420p", copyts=None, **plain)

    job = Job(limits, limits.timeout_base_s, 10 * MB, 0.0)
    transcode(source, target, build, job)
    return width, height


def make_still(
    source: Path | str, target_jpg: Path | str, at_s: float, limits: Limits | None = None
) -> tuple[int, int]:
    """Write the picture that a playable copy of ours shows at ``at_s``; return (width, height).

    That is the last frame which begins no later. Raises as :func:`make_playable`.
    """
    limits, source, target = limits or Limits(), Path(source), Path(target_jpg)
    info = probe(source, _for_our_own(limits))
    if not info.has_video:
        raise Refused("unreadable")
    at_s = min(max(at_s, 0.0), info.duration_s)
    for reach_s in STILL_REACH_S[:-1]:
        try:
            return _still(source, target, info, limits, at_s, reach_s)
        except Refused:  # no frame begins there: the picture stood still for longer
            continue
    return _still(source, target, info, limits, at_s, STILL_REACH_S[-1])


def _still(
    source: Path, target: Path, info: MediaInfo, limits: Limits, at_s: float, reach_s: float
) -> tuple[int, int]:
    """The last of the frames that begin within ``reach_s`` before ``at_s``."""
    width, height = _scaled(info, limits.long_side)
    first_s = max(at_s - reach_s, 0.0)

    def build(node: Any, output: str) -> Any:
        stream = picture(node, info).filter("setpts", f"PTS-{info.origin_s:.6f}/TB")
        stream = stream.filter("trim", start=first_s, end=at_s + STILL_SLACK_S)
        stream = stream.filter("scale", width, height).filter("setsar", 1)
        # Each frame is written over the one before; the last stays.
        plain = {"f": "image2", "c:v": "mjpeg", "q:v": 3, "update": 1, "fps_mode": "passthrough"}
        return stream.output(output, map_metadata=-1, pix_fmt="yuvj420p", copyts=None, **plain)

    timeout_s = limits.sound_timeout_s(reach_s)
    job = Job(limits, timeout_s, 10 * MB, 0.0)
    transcode(source, target, build, job, ss=f"{first_s + info.origin_s:.6f}")
    return width, height
