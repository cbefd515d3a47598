"""The outline of the sound for drawing: least and greatest sample per short span.

The document (JSON, UTF-8) is::

    {"version": 1, "duration_s": 83.2, "levels": [{"per_second": 100.0, "count": 8320,
     "data": "<base64: count pairs of int8 (min, max)>"}, {"per_second": 25.0, ...}, ...]}

A value v stands for v/127 of full scale; pair i covers [i/per_second, (i+1)/per_second).
Each level joins four pairs of the one before, until fewer than 256 are left.
"""

import base64
import json
import math
import wave
from pathlib import Path

import numpy as np

from studio.media.sound import read_blocks

JOIN = 4
FEWEST = 256
BLOCK_S = 10.0


def waveform_peaks(wav: Path | str, per_second: int = 100) -> bytes:
    """Return the outline of ``wav`` (as written by ``extract_sound``) as a JSON document.

    Parameters
    ----------
    wav : path of a 16-bit mono WAV.
    per_second : int, 1 to 1000. Pairs per second on the finest level; it must divide the
        sample rate, so that pairs do not drift.
    """
    mins, maxs, samples, sr = [], [], 0, _rate(wav)
    if per_second < 1 or sr % per_second:
        raise ValueError(f"per_second is {per_second}; use a divisor of {sr}, such as 100")
    span = sr // per_second
    for _, y in read_blocks(wav, block_s=BLOCK_S):
        samples += len(y)
        padded = np.pad(y, (0, -len(y) % span), mode="edge").reshape(-1, span)
        mins.append(padded.min(axis=1))
        maxs.append(padded.max(axis=1))
    pairs = np.stack([np.concatenate(mins), np.concatenate(maxs)], axis=1)
    levels = []
    rate = float(per_second)
    while True:
        levels.append(_level(pairs, rate))
        if len(pairs) < FEWEST:
            break
        pairs, rate = _join(pairs), rate / JOIN
    document = {"version": 1, "duration_s": round(samples / sr, 4), "levels": levels}
    return json.dumps(document, separators=(",", ":")).encode()


def _rate(wav: Path | str) -> int:
    with wave.open(str(wav), "rb") as reader:
        return reader.getframerate()


def _join(pairs: np.ndarray) -> np.ndarray:
    short = math.ceil(len(pairs) / JOIN) * JOIN - len(pairs)
    grouped = np.pad(pairs, ((0, short), (0, 0)), mode="edge").reshape(-1, JOIN, 2)
    return np.stack([grouped[:, :, 0].min(axis=1), grouped[:, :, 1].max(axis=1)], axis=1)


def _level(pairs: np.ndarray, rate: float) -> dict[str, object]:
    data = np.clip(np.round(pairs * 127), -127, 127).astype(np.int8)
    encoded = base64.b64encode(data.tobytes()).decode("ascii")
    return {"per_second": rate, "count": len(pairs), "data": encoded}
