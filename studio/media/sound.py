"""The sound for listening: one channel, 44.1 kHz, 16 bit, on the one time axis.

Which channel
-------------
Channels are never summed: summing cancels sound of opposed polarity, and two microphones
apart comb the partials. The loudest channel (greatest RMS over the clip, the first of equals)
is taken as it is. Silence: an RMS below -70 dB re full scale.
"""

import re
import tempfile
import wave
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np

from studio.media.errors import Failed, Note, Refused, reading_notes
from studio.media.jobs import Job, numbers_alone, sound, transcode
from studio.media.limits import Limits
from studio.media.probe import MediaInfo, probe
from studio.media.runner import Progress, part_of

SOUND_RATE_HZ = 44_100
SILENCE_DB = -70.0
BLOCK_SAMPLES = 1 << 20  # read at a time
FULL_SCALE = 32_768.0  # of 16-bit samples
CHANNEL_LINE = re.compile(r"Channel: (\d+)")
RMS_LINE = re.compile(r"RMS level dB: (-?[\d.]+|-?inf|-?nan)")


@dataclass(frozen=True, slots=True)
class SoundInfo:
    """What was extracted. ``channel`` is the source channel taken, from 0; dB re full scale."""

    duration_s: float
    sample_rate_hz: int
    channel: int
    source_channels: int
    rms_db: float
    notes: tuple[Note, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """All fields, ready for JSON."""
        return asdict(self)


def extract_sound(
    source: Path | str,
    target_wav: Path | str,
    info: MediaInfo,
    limits: Limits | None = None,
    on_progress: Progress | None = None,
) -> SoundInfo:
    """Write the sound of ``source`` to ``target_wav`` (16-bit mono WAV at 44.1 kHz).

    ``on_progress`` gets 0..1 about twice a second; what it raises stops the job. The file
    appears whole or not at all.

    Raises
    ------
    Refused
        ``no_sound``, ``unreadable``.
    Failed
        ``timeout``, ``disk_full``, ``output_too_large``, ``tool_missing``, ``crashed``.
    """
    limits, source, target = limits or Limits(), Path(source), Path(target_wav)
    if not info.has_audio:
        raise Refused("no_sound")
    is_mono = (info.audio_channels or 1) == 1
    measured = 0.0 if is_mono else 0.5
    channel = loudest_channel(source, info, limits, part_of(on_progress, 0.0, measured))
    longest_s = min(info.duration_s, limits.max_duration_s) + 1.0

    def build(node: Any, output: str) -> Any:
        stream = sound(node, info, channel)
        plain = {"acodec": "pcm_s16le", "ac": 1, "ar": SOUND_RATE_HZ, "t": longest_s}
        return stream.output(output, f="wav", copyts=None, map_metadata=-1, **plain)

    job = sound_job(info, limits, part_of(on_progress, measured, 1.0))
    done = transcode(source, target, build, job)
    duration_s, rms_db = _measure(target)
    if duration_s == 0:
        target.unlink(missing_ok=True)
        raise Refused("no_sound", detail=done.stderr)
    notes = _notes(info, duration_s, done.damaged, rms_db)
    channels = info.audio_channels or 1
    return SoundInfo(duration_s, SOUND_RATE_HZ, channel, channels, rms_db, notes)


def sound_job(info: MediaInfo, limits: Limits, on_progress: Progress | None, **more: Any) -> Job:
    """Bounds for a job that writes sound alone."""
    duration_s = min(info.duration_s, limits.max_duration_s) + 10
    return Job(
        limits=limits,
        timeout_s=limits.sound_timeout_s(duration_s),
        max_output_bytes=int(duration_s * SOUND_RATE_HZ * 4),
        duration_s=info.duration_s,
        on_progress=on_progress,
        **more,
    )


def loudest_channel(
    source: Path, info: MediaInfo, limits: Limits, on_progress: Progress | None = None
) -> int:
    """Index of the channel with the greatest RMS; 0 when there is only one, or all are silent."""
    if (info.audio_channels or 1) == 1:
        return 0

    def build(node: Any, output: str) -> Any:
        measured = {"measure_perchannel": "RMS_level", "measure_overall": "none"}
        stream = numbers_alone(node[str(info.audio_index)], info).filter("astats", **measured)
        return stream.output(output, f="null", t=limits.max_duration_s)

    done = transcode(source, None, build, sound_job(info, limits, on_progress, loglevel="info"))
    levels: dict[int, float] = {}
    channel = 0
    for line in done.stderr.splitlines():
        if match := CHANNEL_LINE.search(line):
            channel = int(match[1]) - 1
        elif match := RMS_LINE.search(line):
            level = float(match[1])
            levels[channel] = level if np.isfinite(level) else -np.inf
    if not levels:
        return 0
    # A hair's difference between equals must not decide: the first within 0.01 dB is taken.
    best = max(levels.values())
    return min(index for index, level in levels.items() if level >= best - 0.01)


def _measure(wav: Path) -> tuple[float, float]:
    power, count = 0.0, 0
    for _, y in read_blocks(wav, block_s=10.0):
        power += float(np.sum(np.square(y, dtype=np.float64)))
        count += len(y)
    rms_db = 10 * np.log10(power / count) if power > 0 else -np.inf
    return count / SOUND_RATE_HZ, float(max(rms_db, -120.0))


def _notes(info: MediaInfo, duration_s: float, damaged: bool, rms_db: float) -> tuple[Note, ...]:
    notes = reading_notes(
        is_partial=info.is_partial,
        got_s=duration_s,
        stated_s=info.stated_duration_s,
        damaged=damaged,
    )
    if rms_db < SILENCE_DB:
        notes = (*notes, Note("silent"))
    return notes


def _open(path: Path) -> wave.Wave_read:
    if not path.is_file():
        raise Failed("file_missing", name=path.name)
    reader = wave.open(str(path), "rb")  # noqa: SIM115 - the caller closes it
    if reader.getnchannels() != 1 or reader.getsampwidth() != 2:
        shape = f"{reader.getnchannels()} channels of {8 * reader.getsampwidth()} bit"
        reader.close()
        raise ValueError(f"{path.name} holds {shape}; read_sound needs 1 of 16, see extract_sound")
    return reader


def read_sound(path: Path | str) -> tuple[np.ndarray, int]:
    """Read a WAV that :func:`extract_sound` wrote: (y float32 shape (n,) in -1..1, sr in Hz)."""
    with _open(Path(path)) as reader:
        sr, total = reader.getframerate(), reader.getnframes()
        y, filled = np.empty(total, dtype=np.float32), 0
        # A block at a time: the samples of an hour would stand in memory twice otherwise.
        while len(samples := np.frombuffer(reader.readframes(BLOCK_SAMPLES), dtype="<i2")):
            y[filled : filled + len(samples)] = samples
            filled += len(samples)
        y /= np.float32(FULL_SCALE)
        return y[:filled], sr


def read_blocks(
    path: Path | str, *, block_s: float, overlap_s: float = 0.0
) -> Iterator[tuple[float, np.ndarray]]:
    """Yield (start_s, y) blocks of ``block_s`` seconds, each ``overlap_s`` into the one before.

    Memory stays flat however long the file is. The last block may be shorter.
    """
    if not 0 <= overlap_s < block_s:
        raise ValueError(f"overlap_s is {overlap_s}; use 0 up to less than block_s ({block_s})")
    with _open(Path(path)) as reader:
        sr, total = reader.getframerate(), reader.getnframes()
        size, step = round(block_s * sr), max(1, round((block_s - overlap_s) * sr))
        for start in range(0, total, step):
            reader.setpos(start)
            samples = np.frombuffer(reader.readframes(size), dtype="<i2")
            yield start / sr, samples.astype(np.float32) / np.float32(FULL_SCALE)
            if start + size >= total:
                return


def hear_file(
    path: Path | str, limits: Limits | None = None
) -> tuple[np.ndarray, int, MediaInfo, SoundInfo]:
    """Read the sound of any recording: (y, sr, info, sound_info). Raises as probe and extract."""
    info = probe(path, limits)
    with tempfile.TemporaryDirectory(prefix="sound-") as folder:
        wav = Path(folder, "sound.wav")
        sound_info = extract_sound(path, wav, info, limits)
        y, sr = read_sound(wav)
    return y, sr, info, sound_info
