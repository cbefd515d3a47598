"""Recordings made for tests: a white picture and a click at the same, known moments."""

import struct
import subprocess
import wave
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import av
import numpy as np

from studio.media.tools import find_ffmpeg

SIZE = (160, 120)
LENGTH_S = 6.0
EVENTS_S = (0.6, 1.5, 2.4, 3.9, 5.1)
SOUND_RATE_HZ = 48_000
H264 = ("-c:v", "libx264", "-preset", "ultrafast", "-pix_fmt", "yuv420p")
AAC = ("-c:a", "aac", "-b:a", "128k")


def ffmpeg(*arguments: str, stdin: bytes | None = None) -> bytes:
    """Run ffmpeg plainly, to make something; returns its standard output."""
    command = [str(find_ffmpeg()), "-hide_banner", "-v", "error", "-y", *arguments]
    return subprocess.run(command, input=stdin, check=True, capture_output=True).stdout


def click_sound(path: Path, channels: int = 1, rate_hz: int = SOUND_RATE_HZ) -> Path:
    """Silence with a 3 ms burst at each event; every channel the same."""
    y = np.zeros(round(LENGTH_S * rate_hz))
    burst = 0.8 * np.sin(2 * np.pi * 2000 * np.arange(round(0.003 * rate_hz)) / rate_hz + 1.5)
    for event_s in EVENTS_S:
        at = round(event_s * rate_hz)
        y[at : at + len(burst)] = burst
    with wave.open(str(path), "wb") as writer:
        writer.setparams((channels, 2, rate_hz, 0, "NONE", ""))
        samples = np.repeat(np.round(y * 32767).astype("<i2")[:, None], channels, axis=1)
        writer.writeframes(samples.tobytes())
    return path


def flash_frames(rate_hz: float) -> bytes:
    """Grey frames; the one nearest each event is white, with a dark block top left."""
    width, height = SIZE
    count = round(LENGTH_S * rate_hz)
    frames = np.full((count, height, width), 60, np.uint8)
    for event_s in EVENTS_S:
        frames[round(event_s * rate_hz)] = 235
    frames[:, :40, :40] = 16
    return frames.tobytes()


def flash_and_click(
    path: Path,
    *encoding: str,
    rate: str = "30",
    before_sound: tuple[str, ...] = (),
    through_pipe: bool = False,
) -> Path:
    """Write a recording at ``path``; ``encoding`` are ffmpeg's output options."""
    top, _, bottom = rate.partition("/")
    rate_hz = int(top) / int(bottom or 1)
    sound = click_sound(path.with_suffix(".clicks.wav"))
    raw = ("-f", "rawvideo", "-pix_fmt", "gray", "-s", "{}x{}".format(*SIZE), "-r", rate)
    target = "pipe:1" if through_pipe else str(path)
    written = ffmpeg(
        *(*raw, "-i", "pipe:0", *before_sound, "-i", str(sound)),
        *("-map", "0:v", "-map", "1:a", *encoding, target),
        stdin=flash_frames(rate_hz),
    )
    if through_pipe:
        path.write_bytes(written)
    return path


def turn(path: Path, clockwise_deg: int) -> Path:
    """Write the display matrix of the first track header that has a picture (tkhd, 14496-12)."""
    cosine, sine = {0: (1, 0), 90: (0, 1), 180: (-1, 0), 270: (0, -1)}[clockwise_deg]
    one, unit = 1 << 16, 1 << 30
    matrix = (cosine * one, sine * one, 0, -sine * one, cosine * one, 0, 0, 0, unit)
    content = bytearray(path.read_bytes())
    at = content.index(b"tkhd")
    while struct.unpack(">I", content[at + 80 : at + 84])[0] == 0:  # width: a track of sound
        at = content.index(b"tkhd", at + 4)
    content[at + 44 : at + 80] = struct.pack(">9i", *matrix)
    path.write_bytes(content)
    return path


@dataclass(frozen=True)
class Moments:
    """When flashes begin and clicks begin, in seconds, as a player would present them."""

    flashes_s: tuple[float, ...]
    clicks_s: tuple[float, ...]
    first_frame_s: float
    dark_corner: str | None


def onsets(y: np.ndarray, sr: int, start_s: float = 0.0) -> tuple[float, ...]:
    """First sample of each burst above a third of full scale, bursts at least 0.1 s apart."""
    loud = np.flatnonzero(np.abs(y) > 0.3)
    firsts = loud[np.insert(np.diff(loud) > 0.1 * sr, 0, True)] if len(loud) else loud
    return tuple(start_s + firsts / sr)


def moments(path: Path) -> Moments:
    """Decode ``path`` with PyAV alone, as an outside witness of when things are presented."""
    flashes: list[float] = []
    pieces: list[tuple[float, np.ndarray]] = []
    first_frame_s, corner, sr = np.inf, None, SOUND_RATE_HZ
    with av.open(str(path)) as container:
        for packet in container.demux():
            for frame in packet.decode():
                if isinstance(frame, av.VideoFrame):
                    first_frame_s = min(first_frame_s, frame.time)
                    grey = frame.to_ndarray(format="gray").astype(float)
                    corner = corner or dark_corner(grey)
                    if np.median(grey) > 150:
                        flashes.append(frame.time)
                elif isinstance(frame, av.AudioFrame):
                    sr = frame.sample_rate
                    planes = frame.to_ndarray()
                    one = (
                        planes[0]
                        if frame.format.is_planar
                        else planes[0, :: len(frame.layout.channels)]
                    )
                    scale = 32768.0 if one.dtype == np.int16 else 1.0
                    pieces.append((frame.time, one / scale))
    clicks: tuple[float, ...] = ()
    if pieces:
        start_s = pieces[0][0]
        y = np.zeros(round((pieces[-1][0] - start_s + 1.0) * sr))
        for at_s, piece in pieces:
            at = round((at_s - start_s) * sr)
            y[at : at + len(piece)] = piece
        clicks = onsets(y, sr, start_s)
    starts = [flashes[0], *(b for a, b in pairwise(flashes) if b - a > 0.2)] if flashes else []
    return Moments(tuple(starts), clicks, float(first_frame_s), corner)


def white_frames(path: Path) -> list[tuple[float, bool]]:
    """When each frame is presented, and whether it is a flash."""
    with av.open(str(path)) as container:
        return [
            (frame.time, bool(np.median(frame.to_ndarray(format="gray")) > 150))
            for frame in container.decode(video=0)
        ]


def dark_corner(grey: np.ndarray) -> str:
    """Which corner holds the dark block."""
    n = min(grey.shape) // 5
    corners = {
        "top left": grey[:n, :n],
        "top right": grey[:n, -n:],
        "bottom left": grey[-n:, :n],
        "bottom right": grey[-n:, -n:],
    }
    return min(corners, key=lambda name: float(corners[name].mean()))
