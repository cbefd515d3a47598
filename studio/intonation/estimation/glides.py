"""Following a hidden voice through a note, to see whether it was adjusted.

Conventions: cents relative to the track's ``f0_hz``; frames as those of the parent's track.

Method
------
The search of ``hidden_voices`` is repeated in short windows along the note, with the parent's
coarse track for its phase. Each window offers a few offsets with their gains; the path through them
with the most gain less a price on movement (Viterbi, as in ``pitch_tracks``) is the voice's glide.
Too coarse to measure an interval by, it shows when a pupil slid an octave into tune.
"""

import itertools

import numpy as np

from studio.intonation.estimation import hidden_voices
from studio.intonation.estimation.basebands import MOVING_HALF_BAND_HZ, transform
from studio.intonation.estimation.pitch_tracks import FEWEST_FREE, Track, near_multiple
from studio.theory import as_ratio, in_cents

WINDOW_S = 0.44
STEP_S = 0.16
LEAST_WINDOWS = 3
PRICE_PER_CENT = 0.8  # nats per cent of movement from window to window
LEAST_GAIN = 40.0  # mean nats per window; below, the path means nothing


def glides(
    y: np.ndarray, sr: int, start_s: float, end_s: float, tracks: list[Track]
) -> list[Track]:
    """Glides of all hidden voices beside visible parents that can be followed."""
    f0 = np.array([t.f0_hz for t in tracks])
    found = []
    for voice, track in enumerate(tracks):
        relation = near_multiple(f0, voice) if track.hidden else None
        if relation and not tracks[relation[0]].hidden:
            glide = _glide(y, sr, start_s, end_s, f0, voice, tracks[relation[0]], relation)
            found += [glide] if glide else []
    return found


def _glide(
    y: np.ndarray,
    sr: int,
    start_s: float,
    end_s: float,
    f0_hz: np.ndarray,
    voice: int,
    parent: Track,
    relation: tuple[int, int],
) -> Track | None:
    centres = np.arange(start_s + WINDOW_S / 2, end_s - WINDOW_S / 2 + 1e-9, STEP_S)
    if len(centres) < LEAST_WINDOWS:
        return None
    index, n = relation
    others = np.array([f for v, f in enumerate(f0_hz) if v not in (voice, index)])
    options = []
    for centre in centres:
        spectrum = transform(
            y, sr, centre - WINDOW_S / 2, centre + WINDOW_S / 2, MOVING_HALF_BAND_HZ
        )
        time = spectrum.time_s
        shape = np.interp(time + centre, parent.time_s, parent.cents)
        mean = float(shape.mean())
        f_parent = parent.f0_hz * as_ratio(mean)
        expected = float(in_cents(f0_hz[voice] / (n * f_parent)))
        lines = hidden_voices.demodulate(
            spectrum, f_parent, n, shape - mean, time, others, expected
        )
        scored = hidden_voices.offsets(lines, expected, np.zeros((0, len(lines.time_s))))
        options.append(np.array([(at + mean, gain) for at, gain in scored]))
    path, gain = _path(options)
    if gain < LEAST_GAIN * len(centres):
        return None
    cents = np.interp(parent.time_s, centres, path)
    level = np.zeros(len(cents))
    return Track(n * parent.f0_hz, parent.time_s, cents, level, level, FEWEST_FREE)


def _path(options: list[np.ndarray]) -> tuple[np.ndarray, float]:
    """The path through each window's (cents, gain) rows, and its gain."""
    total, back = options[0][:, 1], []
    for before, now in itertools.pairwise(options):
        moved = np.abs(now[:, None, 0] - before[None, :, 0])
        worth = total - PRICE_PER_CENT * moved
        back.append(worth.argmax(axis=1))
        total = worth.max(axis=1) + now[:, 1]
    at = int(total.argmax())
    path = [options[-1][at, 0]]
    for row, pointers in zip(options[-2::-1], back[::-1], strict=True):
        at = int(pointers[at])
        path.append(row[at, 0])
    return np.array(path[::-1]), float(total.max())
