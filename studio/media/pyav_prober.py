"""Stand-in for ffprobe where only the wheel PyAV is there. Run in a child process.

``python pyav_prober.py INPUT show FORMATS MAX_PIXELS MAX_STREAMS`` prints what
``ffprobe -show_format -show_streams`` would, as far as this package reads it;
``first INDEX`` adds the first decoded frame of one stream, ``packets`` the end of each stream.
"""

import json
import sys
from fractions import Fraction
from typing import Any

import av

FIRST_PACKETS = 400


def _seconds(value: int | None, base: Fraction | None) -> str | None:
    return None if value is None or base is None else f"{float(value * base):.6f}"


def _describe(stream: Any, rotation: int) -> dict[str, Any]:
    context = stream.codec_context
    described: dict[str, Any] = {
        "index": stream.index,
        "codec_type": stream.type,
        "codec_name": context.name if context else "unknown",
        "codec_tag_string": getattr(context, "codec_tag", "") if context else "",
        "profile": str(stream.profile) if getattr(stream, "profile", None) else None,
        "start_time": _seconds(stream.start_time, stream.time_base),
        "duration": _seconds(stream.duration, stream.time_base),
        "disposition": {
            "attached_pic": int(bool(stream.disposition & av.stream.Disposition.attached_pic))
        },
    }
    if stream.type == "video" and context:
        rate = stream.average_rate
        described |= {
            "width": context.width,
            "height": context.height,
            "pix_fmt": context.pix_fmt,
            "avg_frame_rate": f"{rate.numerator}/{rate.denominator}" if rate else "0/0",
            "side_data_list": [{"rotation": rotation}],
        }
    if stream.type == "audio" and context:
        described |= {
            "sample_rate": str(context.sample_rate),
            "channels": context.layout.nb_channels,
        }
    return described


def _first_frame(container: Any, stream: Any) -> Any:
    for count, packet in enumerate(container.demux(stream)):
        try:
            for frame in packet.decode():
                if frame.pts is not None:
                    return frame
        except av.error.FFmpegError:
            pass
        if count > FIRST_PACKETS:
            return None
    return None


def _show(container: Any) -> dict[str, Any]:
    duration = container.duration
    rotations = {stream.index: _rotation(container, stream) for stream in container.streams.video}
    return {
        "format": {
            "format_name": container.format.name,
            "duration": None if duration is None else f"{duration / av.time_base:.6f}",
        },
        "streams": [_describe(s, rotations.get(s.index, 0)) for s in container.streams],
    }


def _rotation(container: Any, stream: Any) -> int:
    if stream.codec_context is None or stream.disposition & av.stream.Disposition.attached_pic:
        return 0
    if stream.codec_context.width * stream.codec_context.height > int(sys.argv[4]):
        return 0
    frame = _first_frame(container, stream)
    return int(frame.rotation) if frame is not None else 0


def _packets(container: Any) -> list[dict[str, Any]]:
    ends: dict[int, float] = {}
    try:
        for packet in container.demux():
            if packet.pts is not None and packet.size:
                end = float((packet.pts + (packet.duration or 0)) * packet.time_base)
                index = packet.stream.index
                ends[index] = max(end, ends.get(index, end))
    except av.error.FFmpegError:
        pass
    return [{"stream_index": index, "end": end} for index, end in ends.items()]


def _samples(container: Any, index: int) -> int:
    count = 0
    for packet in container.demux(container.streams[index]):
        try:
            count += sum(frame.samples for frame in packet.decode())
        except av.error.FFmpegError:
            pass
    return count


def main(path: str, what: str, formats: str, max_pixels: str, max_streams: str) -> dict[str, Any]:
    """Open ``path`` with both whitelists and describe it."""
    options = {"protocol_whitelist": "file", "format_whitelist": formats}
    options["max_streams"] = max_streams
    with av.open(path, options=options) as container:
        for video in container.streams.video:
            if video.codec_context is not None:
                video.codec_context.options = {"max_pixels": max_pixels}
                video.thread_count = 1
        if what == "packets":
            return {"packets": _packets(container)}
        if what.startswith("samples:"):
            return {"samples": _samples(container, int(what.removeprefix("samples:")))}
        if what.startswith("first:"):
            stream = container.streams[int(what.removeprefix("first:"))]
            frame = _first_frame(container, stream)
            if frame is None:
                return {"frames": []}
            return {
                "frames": [
                    {"best_effort_timestamp_time": f"{float(frame.pts * frame.time_base):.6f}"}
                ]
            }
        return _show(container)


if __name__ == "__main__":
    try:
        json.dump(main(*sys.argv[1:6]), sys.stdout)
    except (av.error.FFmpegError, ValueError) as error:
        print(error, file=sys.stderr)
        sys.exit(1)
