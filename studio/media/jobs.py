"""One ffmpeg job: from a graph built with ffmpeg-python to a finished file beside its target."""

import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import ffmpeg

from studio import durable
from studio.media import tools
from studio.media.errors import Failed, Refused
from studio.media.limits import Limits
from studio.media.probe import FORMATS, PROTOCOLS, MediaInfo
from studio.media.runner import Finished, Progress, run, workbench

ERROR_RATE_EXCEEDED = 69  # ffmpeg's exit when -max_error_rate is passed: the output is whole
PROGRESS_LINE = re.compile(r"out_time_us=(\d+)$")
QUIET = ("-hide_banner", "-nostdin", "-nostats", "-progress", "pipe:1", "-max_error_rate", "0")

Build = Callable[[Any, str], Any]  # (input node, output path) -> output node


FLOATS = ("pcm_f32", "pcm_f64")  # the formats whose samples may be infinite, or no number
NUMBERS_ALONE = "if(isnan(val(ch)),0,clip(val(ch),-1,1))"


@dataclass(frozen=True, slots=True)
class Done:
    """A finished job. ``damaged`` says that parts of the source did not decode."""

    damaged: bool
    stderr: str


@dataclass(frozen=True, slots=True)
class Job:
    """What one run of ffmpeg may take, and whom it tells."""

    limits: Limits
    timeout_s: float
    max_output_bytes: int
    duration_s: float
    on_progress: Progress | None = None
    loglevel: str = "error"
    threads: int = 1


def transcode(source: Path, target: Path | None, build: Build, job: Job, **options: Any) -> Done:
    """Open ``source`` under both whitelists, make ``build``'s output, rename it to ``target``.

    ``options`` are further input options. ``target=None`` discards the output (measuring only).

    Raises
    ------
    Failed
        See :func:`studio.media.runner.run`; also ``crashed``.
    Refused
        ``unreadable`` when nothing at all came out of the source.
    """
    program = tools.find_ffmpeg()
    beside = target.parent if target else None
    with workbench(program, source, beside) as bench:
        name = "made" + (target.suffix if target else "")
        node = ffmpeg.input(
            bench.source,
            protocol_whitelist=PROTOCOLS,
            format_whitelist=FORMATS,
            max_pixels=job.limits.max_pixels,
            max_streams=job.limits.max_streams,
            threads=job.threads,
            **options,
        )
        graph = build(node, f"{bench.output}/{name}" if target else "-")
        quiet = ("-v", job.loglevel, *QUIET)
        command = graph.global_args(*quiet).overwrite_output().compile(cmd=str(program))
        finished = _watch(command, bench.prefix, job)
        made = bench.folder / name
        _check(finished, made if target else None)
        if target:
            durable.publish(made, target)
    return Done(finished.exit_code == ERROR_RATE_EXCEEDED, finished.stderr)


def _watch(command: list[str], prefix: tuple[str, ...], job: Job) -> Finished:
    reached = 0.0

    def on_line(line: str) -> None:
        nonlocal reached
        match = PROGRESS_LINE.match(line)
        if match and job.duration_s > 0:
            reached = max(reached, min(1.0, int(match[1]) / 1e6 / job.duration_s))

    def on_tick() -> None:
        if job.on_progress:
            job.on_progress(reached)

    finished = run(
        command,
        limits=job.limits,
        timeout_s=job.timeout_s,
        max_output_bytes=job.max_output_bytes,
        prefix=prefix,
        on_line=on_line,
        on_tick=on_tick,
    )
    if job.on_progress:
        job.on_progress(1.0)
    return finished


def _check(finished: Finished, made: Path | None) -> None:
    if finished.exit_code not in (0, ERROR_RATE_EXCEEDED):
        if "Invalid data found when processing input" in finished.stderr.splitlines()[-1:]:
            raise Refused("unreadable", detail=finished.stderr)
        raise Failed("crashed", exit_code=finished.exit_code, detail=finished.stderr)
    if made is not None and (not made.is_file() or made.stat().st_size == 0):
        raise Refused("unreadable", detail=finished.stderr)


def picture(node: Any, info: MediaInfo) -> Any:
    """The picture of ``node``."""
    return node[str(info.video_index)]


def numbers_alone(stream: Any, info: MediaInfo) -> Any:
    """A stream of sound without samples that are no number, which no encoder takes."""
    if not (info.audio_codec or "").startswith(FLOATS):
        return stream
    return stream.filter("aeval", NUMBERS_ALONE, channel_layout="same")


def sound(node: Any, info: MediaInfo, channel: int | None) -> Any:
    """The sound of ``node`` on the one time axis; ``channel`` picks one, ``None`` keeps all.

    What lies before 0 is cut; a late start and gaps longer than 10 ms are filled with silence;
    timestamps that jump back are trimmed. Shorter jitter is left alone: mending it would click.
    Samples that are no number are silent, and what is beyond full scale is cut to it.
    """
    stream = node[str(info.audio_index)]
    if channel is not None:
        stream = stream.filter("pan", args=f"mono|c0=c{channel}")
    stream = numbers_alone(stream, info)
    # Each recording of a chain counts its times from its own beginning; samples go on.
    axis = "N/SR/TB" if info.is_chained else f"PTS-{info.origin_s:.6f}/TB"
    stream = stream.filter("asetpts", axis)
    # "async" is a keyword in Python, hence the dictionary.
    resample = {"async": 1, "min_hard_comp": 0.01, "first_pts": 0}
    return stream.filter("aresample", **resample)
