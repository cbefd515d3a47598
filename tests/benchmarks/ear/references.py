"""Reference listeners: general-purpose libraries, asked the same question on the same clips.

They come with the extra ``reference`` and are imported only when they are asked. None was made
for double stops on bowed strings; each is used as its documentation says, with its range set to
the instrument where it has one, and its best pitch resolution.

* **Klapuri** - essentia's ``MultiPitchKlapuri``: harmonic summation and iterative cancellation
  on each frame (Klapuri 2006, *Proc. ISMIR*, 216-221). Frames only.
* **Basic Pitch** - a small neural network for notes (Bittner et al. 2022, *Proc. ICASSP*,
  781-785), run by ONNX. Notes; each note's pitch is read from the contour output (three bins to
  a semitone) as the weighted mean about its peak, since notes alone are whole semitones.
* **pYIN** - librosa's: one voice at a time (Mauch & Dixon 2014, *Proc. ICASSP*, 659-663). It
  cannot find a pair; it is here for single lines, and for how much one voice tells.
"""

import contextlib
import io
import logging
import tempfile
import time
from collections.abc import Callable, Sequence
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from tests.benchmarks.ear.hearing import HOP_S, Heard, HeardNote, frames_of
from tests.benchmarks.ear.material import SR, Material

Listener = Callable[[Material], Heard]

LOWEST_HZ, HIGHEST_HZ = 125.0, 3300.0
DITHER = 3e-5  # full scale 1: -90 dB
KLAPURI_HOP = 441  # samples: one of our frames
PYIN_FRAME = 2048
CONTOUR_BASE_HZ = 27.5  # of Basic Pitch's first bin
CONTOUR_BINS = 36  # to an octave
LEAST_NOTE_S = 0.1277  # its own choice


class Thresholds(NamedTuple):
    """What Basic Pitch asks of a note's onset and of its frames, 0 to 1."""

    onset: float
    frame: float


USUAL = Thresholds(0.5, 0.3)  # its own choice
# Of onset thresholds from 0.5 on, the highest finds most double stops of real playing at any share
# of false ones below 5 %; the frames' spans that range.
SWEEP = (USUAL, *(Thresholds(0.95, frame) for frame in (0.75, 0.7, 0.65, 0.6, 0.5)))


def klapuri(clip: Material) -> Heard:
    """essentia's MultiPitchKlapuri."""
    estimate = _klapuri()  # a new one each time: it hears nothing in a second clip
    # It leaves silent frames out, and what follows would be told too early: none is silent.
    dither = DITHER * np.random.default_rng(0).standard_normal(len(clip.y))
    begun = time.process_time()
    found = estimate((clip.y + dither).astype(np.float32))
    cpu_s = time.process_time() - begun
    frames = [np.array(sorted(f for f in row if f > 0.0)) for row in found]
    return Heard(frames, cpu_s)


def _klapuri() -> Any:
    import essentia

    essentia.log.infoActive = essentia.log.warningActive = False
    import essentia.standard

    return essentia.standard.MultiPitchKlapuri(
        sampleRate=SR, hopSize=KLAPURI_HOP, minFrequency=LOWEST_HZ, maxFrequency=HIGHEST_HZ
    )


def basic_pitch(clip: Material) -> Heard:
    """Basic Pitch, with pitches finer than its notes."""
    return basic_pitch_at(clip, (USUAL,))[0]


def basic_pitch_at(clip: Material, settings: Sequence[Thresholds]) -> list[Heard]:
    """Basic Pitch's notes at each of ``settings``: of one hearing, since they come after it.

    The first one's time is told, with the hearing; the others' is not.
    """
    import soundfile

    model = _model()
    from basic_pitch.inference import run_inference

    with tempfile.TemporaryDirectory() as folder, contextlib.redirect_stdout(io.StringIO()):
        path = Path(folder, "clip.wav")
        soundfile.write(path, clip.y, SR)
        begun = time.process_time()
        output = run_inference(str(path), model)
        found = [_notes(output, settings[0])]
        cpu_s = time.process_time() - begun
    found += [_notes(output, setting) for setting in settings[1:]]
    return [
        Heard(frames_of(notes, clip.duration_s), 0.0 if n else cpu_s, notes)
        for n, notes in enumerate(found)
    ]


def _notes(output: dict[str, np.ndarray], at: Thresholds) -> list[HeardNote]:
    """The network's output as notes, as its own ``predict`` makes them."""
    from basic_pitch.constants import AUDIO_SAMPLE_RATE, FFT_HOP
    from basic_pitch.note_creation import model_frames_to_time, model_output_to_notes

    _, found = model_output_to_notes(
        output,
        onset_thresh=at.onset,
        frame_thresh=at.frame,
        min_note_len=round(LEAST_NOTE_S * AUDIO_SAMPLE_RATE / FFT_HOP),
        min_freq=LOWEST_HZ,
        max_freq=HIGHEST_HZ,
    )
    times = model_frames_to_time(len(output["contour"]))
    return [
        HeardNote(float(start), float(end), _fine(output["contour"], times, start, end, pitch))
        for start, end, pitch, _, _ in found
    ]


@cache
def _model() -> Any:
    logging.getLogger().setLevel(logging.ERROR)  # it warns of every runtime that is not there
    from basic_pitch import FilenameSuffix, build_icassp_2022_model_path
    from basic_pitch.inference import Model
    from onnxruntime import InferenceSession, SessionOptions

    path = build_icassp_2022_model_path(FilenameSuffix.onnx)
    model = Model(path)
    # On one core, as the others: threads that wait for each other would count as its time.
    one = SessionOptions()
    one.intra_op_num_threads = one.inter_op_num_threads = 1
    model.model = InferenceSession(str(path), one, providers=["CPUExecutionProvider"])
    return model


def _fine(
    contour: np.ndarray, times_s: np.ndarray, start_s: float, end_s: float, midi: int
) -> float:
    """Hz of a note: the contour over its span, weighted mean about its semitone's best bin."""
    first = min(int(np.searchsorted(times_s, start_s)), len(contour) - 1)
    last = max(first + 1, int(np.searchsorted(times_s, end_s)))
    salience = contour[first:last].mean(axis=0)
    centre = round(CONTOUR_BINS * np.log2(440.0 * 2.0 ** ((int(midi) - 69) / 12) / CONTOUR_BASE_HZ))
    near = np.arange(max(0, centre - 2), min(len(salience), centre + 3))
    peak = int(near[np.argmax(salience[near])])
    about = np.arange(max(0, peak - 1), min(len(salience), peak + 2))
    place = np.sum(about * salience[about]) / max(np.sum(salience[about]), 1e-9)
    return float(CONTOUR_BASE_HZ * 2.0 ** (place / CONTOUR_BINS))


def pyin(clip: Material) -> Heard:
    """librosa's pYIN at its finest grid of a tenth of a semitone."""
    import librosa

    y = clip.y.astype(np.float32)
    begun = time.process_time()
    f0, voiced, _ = librosa.pyin(
        y, sr=SR, fmin=LOWEST_HZ, fmax=HIGHEST_HZ, frame_length=PYIN_FRAME, hop_length=KLAPURI_HOP
    )
    cpu_s = time.process_time() - begun
    frames = [np.array([f]) if on else np.zeros(0) for f, on in zip(f0, voiced, strict=True)]
    return Heard(frames, cpu_s)


LISTENERS: dict[str, Listener] = {
    "Klapuri": klapuri,
    "Basic Pitch": basic_pitch,
    "pYIN": pyin,
}
assert SR == KLAPURI_HOP / HOP_S
