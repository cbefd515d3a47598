"""Find out what a recording is, by its content alone.

The one time axis
-----------------
All times are presentation times of the playable copy: 0 is the first picture shown, or the
first sample heard where there is no picture. ``MediaInfo.origin_s`` is that moment on the
source's own clock; what lies before it is cut, and a stream that starts later is padded.
"""

import json
import math
import re
import sys
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass, replace
from fractions import Fraction
from pathlib import Path
from typing import Any

from studio.figures import MB, decimal, length, number, whole
from studio.media import tools
from studio.media.errors import SHORT_BY_S, Failed, Note, Refused, reading_notes
from studio.media.limits import Limits
from studio.media.runner import Finished, run, workbench
from studio.media.structure import inspect_structure, is_chained

# Demuxers we accept. A whitelist of protocols alone let a playlist open other files.
FORMATS = "mov,matroska,webm,wav,mp3,flac,ogg,aac"
PROTOCOLS = "file"
LATE_PICTURE_S = 0.5  # less is common and holds no note worth mentioning
PROBE_OUTPUT_BYTES = 2 * MB
SHOWN = (  # no tags: their size is the sender's choice
    "format=format_name,duration:"
    "stream=index,codec_type,codec_name,profile,start_time,duration,width,height,pix_fmt,"
    "avg_frame_rate,sample_rate,channels:"
    "stream_disposition=attached_pic:stream_side_data=rotation"
)
TOO_LARGE_LINE = re.compile(r"Picture size (\d+)x(\d+) (?:exceeds|is invalid)")
# What a demuxer says of a file that it has judged. Any other end than these says nothing of the
# file: the machine was out of something, or the program could not be run as it should.
JUDGED_WORDS = (
    *("invalid data found", "moov atom not found", "end of file", "invalid argument"),
    *("format not on whitelist", "not yet implemented", "max_streams", "protocol not found"),
    *("not on whitelist", "operation not permitted", "no decoder", "unknown format"),
)
TOO_MUCH_WORDS = ("max_streams",)
EXACT_CONTAINERS = ("flac",)  # a length in their head is the encoder's own, not an estimate
LOOSE_CONTAINERS = ("mp3", "aac")  # recognised by a few bits: random bytes may pass for them


@dataclass(frozen=True, slots=True)
class MediaInfo:
    """What was found in a recording.

    ``width`` and ``height`` are upright (after ``rotation_deg``, clockwise, one of 0, 90, 180,
    270). Times are seconds: ``duration_s`` from ``origin_s`` (see the module) to the end;
    ``video_start_s`` and ``audio_start_s`` on the source's own clock. ``stated_duration_s``
    is what the file claims when it breaks off (``is_partial``), else equal to ``duration_s``.
    ``is_chained``: sound of several recordings, one after another, whose times each begin anew.
    ``frame_rate`` is the average in Hz, ``None`` without a picture. ``video_index`` and
    ``audio_index`` are stream numbers in the source.
    """

    duration_s: float
    stated_duration_s: float
    container: str
    has_video: bool
    has_audio: bool
    is_partial: bool
    origin_s: float
    size_bytes: int
    video_index: int | None = None
    video_codec: str | None = None
    video_profile: str | None = None
    pixel_format: str | None = None
    width: int | None = None
    height: int | None = None
    rotation_deg: int = 0
    frame_rate: float | None = None
    video_start_s: float | None = None
    video_streams: int = 0
    audio_index: int | None = None
    audio_codec: str | None = None
    audio_profile: str | None = None
    audio_channels: int | None = None
    audio_rate_hz: int | None = None
    audio_start_s: float | None = None
    is_chained: bool = False

    @property
    def cut_sound_s(self) -> float:
        """How much sound lies before the first picture, and so before 0."""
        if self.video_start_s is None or self.audio_start_s is None:
            return 0.0
        return max(0.0, self.video_start_s - self.audio_start_s)

    @property
    def notes(self) -> tuple[Note, ...]:
        """What should be said about the recording, though it can be used."""
        found = [
            *reading_notes(
                is_partial=self.is_partial,
                got_s=self.duration_s,
                stated_s=self.stated_duration_s,
                damaged=False,
            )
        ]
        if self.cut_sound_s > LATE_PICTURE_S:
            found.append(Note("late_picture", (("cut_s", decimal(self.cut_sound_s, 1)),)))
        if not self.has_audio:
            found.append(Note("no_sound"))
        if not self.has_video:
            found.append(Note("no_picture"))
        return tuple(found)

    def to_dict(self) -> dict[str, Any]:
        """All fields, ready for JSON."""
        return asdict(self)

    @classmethod
    def from_dict(cls, fields: dict[str, Any]) -> "MediaInfo":
        """Rebuild from :meth:`to_dict`."""
        return cls(**fields)


def probe(path: Path | str, limits: Limits | None = None) -> MediaInfo:
    """Describe the recording at ``path``, or say why it cannot be used.

    Raises
    ------
    Refused
        ``empty``, ``not_media``, ``playlist``, ``unfinished``, ``protected``, ``unreadable``,
        ``too_many_bytes``, ``too_long``, ``too_large_picture``, ``no_duration``, ``overfull``.
    Failed
        ``timeout``, ``tool_missing``, ``file_missing``; ``killed``, ``no_memory`` and ``crashed``
        where the program that looks has died: that says nothing of the recording.
    """
    limits, path = limits or Limits(), Path(path)
    if not path.is_file():
        raise Failed("file_missing", name=path.name)
    size = path.stat().st_size
    if size > limits.max_bytes:
        raise Refused(
            "too_many_bytes", size_mb=math.ceil(size / MB), limit_mb=limits.max_bytes // MB
        )
    breaks_off = inspect_structure(path)
    prober = _Prober(path, limits)
    found = prober.show()
    video, audio = _best(found["streams"], "video"), _best(found["streams"], "audio")
    if video is None and audio is None:
        raise Refused("unreadable")
    if video is not None:
        _refuse_large(video, limits)
    stated_s = _number(found["format"].get("duration"))
    if stated_s is not None and not breaks_off:
        _refuse_long(stated_s, limits)
    return _assemble(prober, found, video, audio, breaks_off)


class _Prober:
    """One source and the program that looks into it."""

    def __init__(self, path: Path, limits: Limits) -> None:
        self.path, self.limits = path, limits
        self.ffprobe = tools.find_ffprobe()
        self.until = time.monotonic() + limits.probe_timeout_s
        self.bounds = replace(limits, memory_bytes=limits.probe_memory_bytes)

    def show(self) -> dict[str, Any]:
        """Container and streams. Raises ``Refused("not_media")``."""
        finished = self._run(["-show_entries", SHOWN], "show")
        # Beyond -max_pixels the prober reports 0 × 0; only its message tells the size.
        match = TOO_LARGE_LINE.search(finished.stderr)
        if finished.exit_code != 0:
            raise (
                _too_large(int(match[1]), int(match[2]), self.limits)
                if match
                else (_why_not(finished))
            )
        found = _told(finished)
        # A cover picture is never decoded, and may have any size.
        if match and not _only_covers(found.get("streams", [])):
            raise _too_large(int(match[1]), int(match[2]), self.limits)
        if not found.get("format") or not found.get("streams"):
            raise Refused("not_media", detail=finished.stderr)
        return found

    def first_frame_s(self, index: int) -> float | None:
        """Presentation time of the first frame that decodes, ``None`` when none does."""
        for reach in ("%+#4", "%+#24", "%+12"):
            arguments = ["-select_streams", str(index), "-read_intervals", reach]
            arguments += ["-show_frames", "-show_entries", "frame=best_effort_timestamp_time"]
            finished = self._run(arguments, f"first:{index}")
            frames = _told(finished).get("frames", [])
            times = [_number(frame.get("best_effort_timestamp_time")) for frame in frames]
            known = [time for time in times if time is not None]
            if known:
                return min(known)
        return None

    def ends_s(self) -> dict[int, float]:
        """Where the last packet of each stream ends, found by reading them all."""
        if self.ffprobe is None:
            found = _told(self._run([], "packets"))
            return {entry["stream_index"]: entry["end"] for entry in found.get("packets", [])}
        entries = "packet=stream_index,pts_time,duration_time"
        lines = ["-show_packets", "-show_entries", entries, "-of", "csv=print_section=0"]
        ends: dict[int, float] = {}

        def on_line(line: str) -> None:
            number, start, length = (_number(part) for part in (line + ",,").split(",")[:3])
            if number is not None and start is not None:
                end = start + (length or 0.0)
                ends[int(number)] = max(end, ends.get(int(number), end))

        _require_an_end(self._run(lines, "packets", on_line))
        return ends

    def sounding_s(self, index: int, rate_hz: int) -> float:
        """How long a stream's samples last, counted by decoding all of them."""
        if self.ffprobe is None:
            return float(json.loads(self._run([], f"samples:{index}").stdout)["samples"]) / rate_hz
        arguments = ["-select_streams", str(index), "-show_frames"]
        arguments += ["-show_entries", "frame=nb_samples", "-of", "csv=print_section=0"]
        samples = 0

        def on_line(line: str) -> None:
            nonlocal samples
            samples += whole(line.strip().strip(",")) or 0

        _require_an_end(self._run(arguments, "samples", on_line))
        return samples / rate_hz

    def _run(
        self, arguments: list[str], what: str, on_line: Callable[[str], None] | None = None
    ) -> Finished:
        program = self.ffprobe or Path(sys.executable)
        with workbench(program, self.path) as bench:
            if self.ffprobe is not None:
                command = [str(program), "-v", "error", "-of", "json"]
                command += ["-protocol_whitelist", PROTOCOLS, "-format_whitelist", FORMATS]
                command += ["-max_pixels", str(self.limits.max_pixels), "-threads", "1"]
                command += ["-max_streams", str(self.limits.max_streams)]
                command += [*arguments, "-i", bench.source]
                prefix = bench.prefix
            else:
                script = str(tools.PYAV_PROBER)
                command = [str(program), "-I", script, bench.source, what, FORMATS]
                command += [str(self.limits.max_pixels), str(self.limits.max_streams)]
                prefix = bench.prefix
            try:
                return run(
                    command,
                    limits=self.bounds,
                    timeout_s=max(0.1, self.until - time.monotonic()),
                    max_output_bytes=PROBE_OUTPUT_BYTES,
                    prefix=prefix,
                    on_line=on_line,
                )
            except Failed as failed:
                if failed.code == "output_too_large":  # only the file itself can swell it so
                    raise Refused("overfull", detail=failed.detail) from failed
                if failed.code == "timeout":
                    failed.params["limit_s"] = round(self.limits.probe_timeout_s)
                raise


def _told(finished: Finished) -> dict[str, Any]:
    """What the program found; an end that is no judgement is raised."""
    _require_an_end(finished)
    if finished.exit_code != 0 and not finished.stdout.strip():
        return {}
    try:
        found: dict[str, Any] = json.loads(finished.stdout)
    except ValueError as error:  # cut off in the middle
        raise Failed("crashed", exit_code=finished.exit_code, detail=finished.stderr) from error
    return found


def _require_an_end(finished: Finished) -> None:
    """Raise unless the program came to an end of its own, with a judgement or without."""
    if finished.exit_code != 0 and isinstance(why := _why_not(finished), Failed):
        raise why


def _why_not(finished: Finished) -> Refused | Failed:
    message = finished.stderr.lower()
    if not any(words in message for words in JUDGED_WORDS):
        return Failed("crashed", exit_code=finished.exit_code, detail=finished.stderr)
    if any(words in message for words in TOO_MUCH_WORDS):
        return Refused("overfull", detail=finished.stderr)
    if "moov atom not found" in message:
        return Refused("unfinished", detail=finished.stderr)
    return Refused("not_media", detail=finished.stderr)


def _only_covers(streams: list[dict[str, Any]]) -> bool:
    """Whether there is sound, and every picture beside it is a cover."""
    pictures = [stream for stream in streams if stream.get("codec_type") == "video"]
    sounds = any(stream.get("codec_type") == "audio" for stream in streams)
    return sounds and all(
        picture.get("disposition", {}).get("attached_pic") for picture in pictures
    )


def _best(streams: list[dict[str, Any]], kind: str) -> dict[str, Any] | None:
    """The first stream of ``kind`` with a known codec; a cover picture is not a video."""
    for stream in streams:
        cover = stream.get("disposition", {}).get("attached_pic")
        known = stream.get("codec_name") not in (None, "unknown", "none")
        if stream.get("codec_type") == kind and known and not cover:
            return stream
    return None


def _number(text: object) -> float | None:
    try:
        value = float(str(text))
    except ValueError:
        return None
    return value if math.isfinite(value) else None


def _refuse_large(video: dict[str, Any], limits: Limits) -> None:
    width, height = int(video.get("width") or 0), int(video.get("height") or 0)
    if width * height == 0:
        raise Refused("unreadable")
    if width * height > limits.max_pixels or max(width, height) > limits.max_side:
        raise _too_large(width, height, limits)


def _too_large(width: int, height: int, limits: Limits) -> Refused:
    million = number(limits.max_pixels / 1e6)
    return Refused("too_large_picture", width=width, height=height, limit=million)


def _refuse_long(duration_s: float, limits: Limits) -> None:
    if duration_s > limits.max_duration_s:
        raise Refused("too_long", duration=length(duration_s), limit=length(limits.max_duration_s))


def _rotation_deg(video: dict[str, Any]) -> int:
    """Clockwise turn that makes the picture upright (the display matrix turns the other way)."""
    for side in video.get("side_data_list", []):
        if "rotation" in side:
            return round(-float(side["rotation"]) / 90) * 90 % 360
    return 0


def _rate(text: object) -> float | None:
    try:
        return float(Fraction(str(text))) or None
    except (ValueError, ZeroDivisionError):
        return None


def _stated_end_s(stream: dict[str, Any] | None, start_s: float | None) -> float | None:
    length = _number(stream.get("duration")) if stream else None
    return None if length is None or start_s is None else start_s + length


def _assemble(
    prober: _Prober,
    found: dict[str, Any],
    video: dict[str, Any] | None,
    audio: dict[str, Any] | None,
    breaks_off: bool,
) -> MediaInfo:
    limits, container = prober.limits, str(found["format"]["format_name"])
    video_start = prober.first_frame_s(int(video["index"])) if video else None
    audio_start = prober.first_frame_s(int(audio["index"])) if audio else None
    video = video if video_start is not None else None
    audio = audio if audio_start is not None else None
    origin = video_start if video_start is not None else audio_start
    if origin is None:
        raise Refused("not_media" if container in LOOSE_CONTAINERS else "unreadable")
    stated_s, duration_s = _durations(prober, found, (video, video_start), (audio, audio_start))
    if breaks_off or stated_s is None or container in EXACT_CONTAINERS:
        duration_s = max(prober.ends_s().values(), default=origin) - origin
        _refuse_long(duration_s, limits)
    chained = container == "ogg" and video is None and is_chained(prober.path)
    if chained and audio is not None:
        duration_s = prober.sounding_s(int(audio["index"]), int(audio["sample_rate"]))
        stated_s = duration_s
        _refuse_long(duration_s, limits)
    breaks_off = breaks_off or (stated_s or 0.0) - duration_s > SHORT_BY_S
    stated = max(duration_s, (stated_s or 0.0))
    if duration_s < limits.min_duration_s:
        raise Refused("no_duration", duration_s=decimal(max(duration_s, 0.0), 2))
    return MediaInfo(
        duration_s=duration_s,
        stated_duration_s=stated if breaks_off else duration_s,
        container=container,
        has_video=video is not None,
        has_audio=audio is not None,
        is_partial=breaks_off,
        origin_s=origin,
        size_bytes=prober.path.stat().st_size,
        is_chained=chained,
        **_video_fields(found, video, video_start),
        **_audio_fields(audio, audio_start),
    )


def _durations(
    prober: _Prober,
    found: dict[str, Any],
    *streams: tuple[dict[str, Any] | None, float | None],
) -> tuple[float | None, float]:
    """(length the file states, length from the origin); both as the header has them."""
    starts = [start for _, start in streams if start is not None]
    origin = starts[0]
    ends = [end for stream, start in streams if (end := _stated_end_s(stream, start)) is not None]
    stated = _number(found["format"].get("duration"))
    if ends and len(ends) == len(starts):
        return max(ends) - origin, max(ends) - origin
    if stated is None or stated <= 0:
        return None, 0.0
    return stated, stated + min(starts) - origin


def _video_fields(
    found: dict[str, Any], video: dict[str, Any] | None, start_s: float | None
) -> dict[str, Any]:
    if video is None:
        return {}
    turn = _rotation_deg(video)
    width, height = int(video["width"]), int(video["height"])
    pictures = [s for s in found["streams"] if s.get("codec_type") == "video"]
    return {
        "video_index": int(video["index"]),
        "video_codec": video.get("codec_name"),
        "video_profile": video.get("profile"),
        "pixel_format": video.get("pix_fmt"),
        "width": height if turn % 180 else width,
        "height": width if turn % 180 else height,
        "rotation_deg": turn,
        "frame_rate": _rate(video.get("avg_frame_rate")),
        "video_start_s": start_s,
        "video_streams": len(pictures),
    }


def _audio_fields(audio: dict[str, Any] | None, start_s: float | None) -> dict[str, Any]:
    if audio is None:
        return {}
    return {
        "audio_index": int(audio["index"]),
        "audio_codec": audio.get("codec_name"),
        "audio_profile": audio.get("profile"),
        "audio_channels": int(audio.get("channels") or 0) or None,
        "audio_rate_hz": int(audio.get("sample_rate") or 0) or None,
        "audio_start_s": start_s,
    }
