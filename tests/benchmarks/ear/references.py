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
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from tests.benchmarks.ear.hearing import HOP_S, Heard, HeardNote, frames_of
from tests.benchmarks.ear.material import SR, Material

Listener = Callable[[Material], Heard]

LOWEST_HZ, HIGHEST_HZ = 125.0, 3300.0
KLAPURI_HOP = 441  # samples: one of our frames
PYIN_FRAME = 2048
CONTOUR_BASE_HZ = 27.5  # of Basic Pitch's first bin
CONTOUR_BINS = 36  # to an octave
CONTOUR_FRAME_S = 256 / 22050


def klapuri(clip: Material) -> Heard:
    """essentia's MultiPitchKlapuri."""
    estimate = _klapuri()  # a new one each time: it hears nothing in a second clip
    begun = time.process_time()
    found = estimate(clip.y.astype(np.float32))
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
    import soundfile

    model = _model()
    from basic_pitch.inference import predict

    with tempfile.TemporaryDirectory() as folder, contextlib.redirect_stdout(io.StringIO()):
        path = Path(folder, "clip.wav")
        soundfile.write(path, clip.y, SR)
        begun = time.process_time()
        output, _, found = predict(
            str(path), model, minimum_frequency=LOWEST_HZ, maximum_frequency=HIGHEST_HZ
        )
        cpu_s = time.process_time() - begun
    notes = [
        HeardNote(float(start), float(end), _fine(output["contour"], start, end, pitch))
        for start, end, pitch, _, _ in found
    ]
    return Heard(frames_of(notes, clip.duration_s), cpu_s, notes)


@cache
def _model() -> Any:
    logging.getLogger().setLevel(logging.ERROR)  # it warns of every runtime that is not there
    from basic_pitch import FilenameSuffix, build_icassp_2022_model_path
    from basic_pitch.inference import Model

    return Model(build_icassp_2022_model_path(FilenameSuffix.onnx))


def _fine(contour: np.ndarray, start_s: float, end_s: float, midi: int) -> float:
    """Hz of a note: the contour over its span, weighted mean about its semitone's best bin."""
    first = int(start_s / CONTOUR_FRAME_S)
    last = max(first + 1, int(end_s / CONTOUR_FRAME_S))
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
