"""What a listener says of a clip, in one form for all of them.

Three kinds of answer, each ``None`` where a listener does not give it:

* *notes*: spans with a pitch (for onset and note measures);
* *frames*: the pitches that sound, every ``HOP_S`` (for multipitch measures, and to ask what was
  heard during a true event);
* *events* with intervals and uncertainties, and marks: ours alone.
"""

import time
from dataclasses import dataclass, field

import numpy as np

from studio.intonation import judge, listen
from studio.intonation.model.measurement import Event, Measurement
from tests.benchmarks.ear.material import SR, Material

HOP_S = 0.01
OURS = "this project"


@dataclass(frozen=True, slots=True)
class HeardNote:
    """One note: seconds and Hz."""

    start_s: float
    end_s: float
    f0_hz: float


@dataclass(frozen=True, slots=True)
class HeardMark:
    """A mark of the judgement: its span and code."""

    start_s: float
    end_s: float
    code: str


@dataclass(slots=True)
class Heard:
    """One listener's answer to one clip. ``frames[i]`` are the pitches (Hz) at i * HOP_S."""

    frames: list[np.ndarray]
    cpu_s: float
    notes: list[HeardNote] | None = None
    events: tuple[Event, ...] = ()
    marks: list[HeardMark] = field(default_factory=list)


def hear(clip: Material) -> Heard:
    """What this project's engine hears and judges."""
    begun = time.process_time()
    measurement = listen(clip.y, SR, clip.options)
    judgement = judge(measurement, clip.policy)
    cpu_s = time.process_time() - begun
    marks = [HeardMark(mark.start_s, mark.end_s, mark.code) for mark in judgement.marks]
    notes = _notes(measurement)
    frames = frames_of(notes, clip.duration_s)
    return Heard(frames, cpu_s, notes, measurement.events, marks)


def _notes(measurement: Measurement) -> list[HeardNote]:
    """Each voice of each event as a note."""
    notes: list[HeardNote] = []
    for event in measurement.events:
        for voice in event.voices:
            notes.append(HeardNote(voice.start_s, voice.end_s, voice.f0_hz))
    return notes


def frames_of(notes: list[HeardNote], duration_s: float) -> list[np.ndarray]:
    """The pitches sounding at each hop."""
    count = int(duration_s / HOP_S) + 1
    at: list[list[float]] = [[] for _ in range(count)]
    for note in notes:
        first = max(0, int(np.ceil(note.start_s / HOP_S)))
        for i in range(first, min(count, int(note.end_s / HOP_S) + 1)):
            at[i].append(note.f0_hz)
    return [np.array(sorted(pitches)) for pitches in at]
