"""What sounds in one frame: every likely set of one to four notes, with its cost.

Conventions
-----------
* A *hypothesis* is a set of up to ``MAX_VOICES`` fundamentals (Hz, ascending, 0 = none). The empty
  set is silence.
* Costs are in *clear peaks*: one loud peak left unexplained costs 1. Smaller is better.
* T frames, C candidates, P peaks, H hypotheses, V voices, K partials.

Method
------
Penalised model selection over joint hypotheses (the idea of Yeh, Roebel & Rodet, *IEEE Trans.
Audio, Speech and Language Processing* 18(6), 2010, with a cost chosen for two bowed strings).
The cost of a set is the sum of

* *unexplained*: the weight of peaks that no voice's partial comes near;
* *absent*: partials a voice ought to show and does not. A partial counts when it lies clear of the
  other voices' partials and well below what the voice's own partials around it promise. This
  is what refuses an octave below the truth;
* *weak*: a voice whose two best partials of its own are far below the loudest partial is an
  echo, a sympathetic string or an accident of overtones, not a second note;
* a small *price* per voice, dearer for more than two and for sizes a hand cannot reach.

An octave's upper note has no partial of its own: it is not decided here but in ``octaves``.
"""

from dataclasses import dataclass
from itertools import combinations, permutations

import numpy as np
from scipy.ndimage import maximum_filter1d

from studio.intonation.detection.salience import candidates, partial_of
from studio.intonation.detection.spectra import SPLIT_HZ, TOP_HZ, Spectra
from studio.theory import in_cents

MAX_VOICES = 4  # by definition: the strings of a chord
# Chosen on made clips and recorded notes; costs are in clear peaks. In an early trial only two
# pairs of three were found without the price of what is absent, and one single note of six passed
# for two without that of a weak voice.
KEPT = 10  # hypotheses kept per frame: states of the path
TRIED_MORE = 3  # times as many, before those that are the same are taken out
PAIRS_EXTENDED, TRIPLES_EXTENDED = 4, 2  # cheapest sets to which one more voice is tried
PARTIALS = 12  # of a voice that may be absent or weak
PRICE = 0.45  # per voice
PRICE_MORE = (0.0, 0.0, 0.0, 0.9, 1.4)  # on top, for a set of that many voices
PRICE_FAR = 0.7  # a pair wider than FAR_CENTS
FAR_CENTS = 1950.0  # wider needs an open string; a tenth is 1600
NARROW_CENTS = 70.0  # nearer voices are a unison, decided elsewhere
ABSENT_SLACK_DB = 15.0  # neighbouring partials of real notes differ by this much
ABSENT_FULL_DB = 12.0  # beyond the slack: the penalty is whole
ABSENT_PRICE = 1.0  # of one partial that is not there
ABSENT_FADES = 8.0  # partials up which the price of one halves
WEAK_FREE_DB = 17.0  # below the loudest partial: a voice this soft costs nothing
WEAK_FULL_DB = 11.0  # beyond: the whole price
WEAK_PRICE = 2.2  # more than two notes' worth, so that an echo does not pay
WEAK_MOST = 1.6  # times the price, however weak
UNHEARD_DB = -60.0  # below the loudest: level of an own partial lost in the noise
BODY_HZ = 260.0  # a violin radiates little below: its lowest partials may be faint
BODY_SLACK_DB = 12.0  # allowed to those on top of ABSENT_SLACK_DB
# How much a peak counts: wholly 20 dB above the noise and within 18 dB of the loudest.
CLEAR_FROM_DB, CLEAR_OVER_DB = 5.0, 15.0  # above the noise: where it begins to count, and over what
LOUD_FROM_DB, LOUD_OVER_DB = 46.0, 28.0  # below the loudest: the same
BLURRED_HZ = 4000.0  # where it counts half: vibrato, noise and codecs blur high partials
# A partial explains a peak within about the tolerance; the fourth power makes the edge steep.
EXPLAINS_TOLERANCES, EXPLAINS_PARTIALS = 1.4, 24
# Own partials keep clear of others by the main lobes of both windows, and 5 cents more.
OWN_LOW_HZ, OWN_HIGH_HZ, OWN_SHARE = 14.0, 26.0, 0.003
AUDIBLE_SHARE = 0.95  # of TOP_HZ: higher partials may lose their sides
LOUDEST_FROM_HZ = 100.0  # of a frame: lower is hum
OVER_FLOOR_DB = 3.0  # a partial lost in the noise is taken to lie this far above its floor
HEARD_DB = 6.0  # over the floor: a partial that tells how loud its voice is
NOTHING_DB = -200.0  # promises nothing: below any level
FALLS_UP_DB, FALLS_DOWN_DB = 1.5, 5.0  # a step: what a higher, a lower partial promises less
BATCH = 64  # frames at once, a few megabytes


@dataclass(slots=True)
class Hypotheses:
    """The likeliest sets per frame: ``cost`` (T, H) ascending, ``f0_hz`` (T, H, MAX_VOICES)."""

    cost: np.ndarray
    f0_hz: np.ndarray


def peak_weight(spectra: Spectra) -> np.ndarray:
    """Return how much each peak counts, 0..1, shape (T, P).

    Falls with frequency, because vibrato, noise and codecs blur high partials first.
    """
    loudest = spectra.peak_db.max(axis=1, keepdims=True)
    clear = np.clip((spectra.peak_snr_db - CLEAR_FROM_DB) / CLEAR_OVER_DB, 0.0, 1.0)
    loud = np.clip((spectra.peak_db - loudest + LOUD_FROM_DB) / LOUD_OVER_DB, 0.0, 1.0)
    return clear * loud / (1.0 + (spectra.peak_hz / BLURRED_HZ) ** 2)


def best_hypotheses(
    spectra: Spectra, grid: np.ndarray, extra_hz: np.ndarray | None = None
) -> Hypotheses:
    """Return the ``KEPT`` cheapest hypotheses of every frame.

    ``extra_hz``, shape (T, X): further candidates, e.g. what neighbouring frames heard.
    """
    parts = []
    for first in range(0, len(spectra.db), BATCH):
        rows = slice(first, first + BATCH)
        some = Spectra(
            spectra.db[rows],
            spectra.floor_db[rows],
            spectra.peak_hz[rows],
            spectra.peak_db[rows],
            spectra.peak_snr_db[rows],
            spectra.bin_hz,
        )
        parts.append(_search(some, grid, None if extra_hz is None else extra_hz[rows]))
    if not parts:
        return Hypotheses(np.zeros((0, KEPT)), np.zeros((0, KEPT, MAX_VOICES)))
    return Hypotheses(
        np.concatenate([p.cost for p in parts]), np.concatenate([p.f0_hz for p in parts])
    )


def _search(spectra: Spectra, grid: np.ndarray, extra_hz: np.ndarray | None) -> Hypotheses:
    weight = peak_weight(spectra)
    cands = candidates(spectra, grid, weight)
    if extra_hz is not None:
        cands = np.concatenate([cands, extra_hz], axis=1)
    frame = _Evidence(spectra, cands, weight)
    count = cands.shape[1]
    everyone = np.arange(len(cands))[:, None]
    singles = np.broadcast_to(np.arange(count)[:, None], (len(cands), count, 1))
    pairs_once = np.array(list(combinations(range(count), 2)))
    pairs = np.broadcast_to(pairs_once, (len(cands), *pairs_once.shape))
    cost1, cost2 = frame.cost(singles), frame.cost(pairs)
    triples = _extend(pairs[everyone, np.argsort(cost2, axis=1)[:, :PAIRS_EXTENDED]], count)
    cost3 = frame.cost(triples)
    fours = _extend(triples[everyone, np.argsort(cost3, axis=1)[:, :TRIPLES_EXTENDED]], count)
    cost4 = frame.cost(fours)
    silence = weight.sum(axis=1, keepdims=True)
    cost = np.concatenate([silence, cost1, cost2, cost3, cost4], axis=1)
    f0 = np.concatenate(
        [np.zeros((len(cands), 1, MAX_VOICES))]
        + [_voices(cands, sets) for sets in (singles, pairs, triples, fours)],
        axis=1,
    )
    best = np.argsort(cost, axis=1, kind="stable")[:, : TRIED_MORE * KEPT]
    return _without_repeats(cost[everyone, best], f0[everyone, best])


def _extend(sets: np.ndarray, count: int) -> np.ndarray:
    """Return every set (T, H, V) with every candidate added: (T, H·C, V + 1)."""
    frames, many, voices = sets.shape
    added = np.broadcast_to(np.arange(count), (frames, many, count))[..., None]
    whole = np.concatenate([np.repeat(sets[:, :, None, :], count, axis=2), added], axis=3)
    return whole.reshape(frames, many * count, voices + 1)


def _voices(cands: np.ndarray, sets: np.ndarray) -> np.ndarray:
    f0 = cands[np.arange(len(cands))[:, None, None], sets]
    f0 = np.sort(np.where(f0 > 0.0, f0, np.inf), axis=2)
    out = np.zeros((*sets.shape[:2], MAX_VOICES))
    out[:, :, : sets.shape[2]] = np.where(np.isfinite(f0), f0, 0.0)
    return out


def _without_repeats(cost: np.ndarray, f0: np.ndarray) -> Hypotheses:
    same = (np.abs(f0[:, :, None] - f0[:, None, :]) < 1e-6).all(axis=3)
    later = np.tril(np.ones(same.shape[1:], bool), -1)
    cost = np.where((same & later).any(axis=2), np.inf, cost)
    order = np.argsort(cost, axis=1, kind="stable")[:, :KEPT]
    row = np.arange(len(cost))[:, None]
    return Hypotheses(cost[row, order], f0[row, order])


class _Evidence:
    """What the frames show about each candidate, gathered once, used by every hypothesis."""

    def __init__(self, spectra: Spectra, cands: np.ndarray, weight: np.ndarray) -> None:
        self.cands, self.weight = cands, weight.astype(np.float32)
        k, off, tol = partial_of(spectra.peak_hz[:, None, :], cands[:, :, None])
        near = np.exp(-((np.abs(off) / (EXPLAINS_TOLERANCES * tol)) ** 4))
        near = near * (k <= EXPLAINS_PARTIALS)
        self.explained = near.astype(np.float32)  # (T, C, P)
        number = np.arange(1, PARTIALS + 1)
        hz = (cands[:, :, None] * number).astype(np.float32)  # (T, C, K)
        level, floor = _levels(spectra, hz)
        audible = (hz < AUDIBLE_SHARE * TOP_HZ) & (hz > 0.0)
        self.own = audible[:, :, None] & _clear(hz, cands)  # (T, C, C, K)
        self.level = np.maximum(level, floor + np.float32(OVER_FLOOR_DB))  # of what is expected
        self.told = np.where(level > floor + HEARD_DB, level, np.float32(UNHEARD_DB))
        slack = np.where(hz < BODY_HZ, ABSENT_SLACK_DB + BODY_SLACK_DB, ABSENT_SLACK_DB)
        self.slack_db = slack.astype(np.float32)

    def cost(self, sets: np.ndarray) -> np.ndarray:
        """Return the cost of candidate sets (T, H, V) → (T, H); inf for impossible ones."""
        row = np.arange(len(sets))[:, None, None]
        total = self._unexplained(sets) + PRICE * sets.shape[2] + PRICE_MORE[sets.shape[2]]
        own = self._own(sets)
        total = total + self._absent(own, row, sets).sum(axis=2) + self._weak(own, row, sets)
        return total + _impossible(self.cands[row, sets])

    def _unexplained(self, sets: np.ndarray) -> np.ndarray:
        row = np.arange(len(sets))[:, None]
        best = self.explained[row, sets[:, :, 0]]
        for v in range(1, sets.shape[2]):
            best = np.maximum(best, self.explained[row, sets[:, :, v]])
        return self.weight.sum(axis=1)[:, None] - np.einsum("thp,tp->th", best, self.weight)

    def _own(self, sets: np.ndarray) -> np.ndarray:
        """Say which partials (T, H, V, K) lie clear of the set's other voices."""
        row = np.arange(len(sets))[:, None]
        voices = [sets[:, :, v] for v in range(sets.shape[2])]
        own = [self.own[row, voice, voice] for voice in voices]
        for v, u in permutations(range(len(voices)), 2):
            own[v] &= self.own[row, voices[v], voices[u]]
        return np.stack(own, axis=2)

    def _absent(self, own: np.ndarray, row: np.ndarray, sets: np.ndarray) -> np.ndarray:
        level = self.level[row, sets]
        promise = _promise(np.where(own, level, np.float32(NOTHING_DB)))
        short_db = promise - level - self.slack_db[row, sets]
        missing = np.where(own, np.clip(short_db / ABSENT_FULL_DB, 0.0, 1.0), np.float32(0.0))
        fading = 1.0 / (1.0 + np.arange(PARTIALS) / ABSENT_FADES)
        return ABSENT_PRICE * (missing @ fading.astype(np.float32))

    def _weak(self, own: np.ndarray, row: np.ndarray, sets: np.ndarray) -> np.ndarray:
        level = np.where(own, self.told[row, sets], np.float32(UNHEARD_DB))
        two = np.partition(level, PARTIALS - 2, axis=3)[..., -2:].mean(axis=3)
        weak = np.clip((-two - WEAK_FREE_DB) / WEAK_FULL_DB, 0.0, WEAK_MOST)
        return WEAK_PRICE * weak.max(axis=2)


def _levels(spectra: Spectra, hz: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Level and floor at ``hz`` (T, C, K), dB below each frame's loudest."""
    wide = maximum_filter1d(spectra.db, 5, axis=1)
    top = wide[:, int(LOUDEST_FROM_HZ / spectra.bin_hz) :].max(axis=1)[:, None, None]
    at = np.minimum(np.rint(hz / spectra.bin_hz).astype(int), wide.shape[1] - 1)
    row = np.arange(len(wide))[:, None, None]
    return wide[row, at] - top, spectra.floor_db[row, at] - top


def _clear(hz: np.ndarray, cands: np.ndarray) -> np.ndarray:
    """Say which partials (T, C, K) of each candidate lie clear of each other's: (T, C, C, K).

    Of itself all do.
    """
    width = np.where(hz < SPLIT_HZ, OWN_LOW_HZ, OWN_HIGH_HZ) + OWN_SHARE * hz
    clear = np.empty((*hz.shape[:2], hz.shape[1], hz.shape[2]), bool)
    for u in range(cands.shape[1]):
        other = np.maximum(cands[:, u, None, None], 1.0).astype(np.float32)
        away = np.abs(hz - np.maximum(1, np.rint(hz / other)) * other)
        clear[:, :, u] = away > width
        clear[:, u, u] = True
    return clear


def _promise(level: np.ndarray) -> np.ndarray:
    """Return what the other partials promise for each: nearest and strongest, in dB.

    Higher partials promise almost their own level (spectra fall), lower ones less a step.
    """
    up, down = np.full_like(level, NOTHING_DB), np.full_like(level, NOTHING_DB)
    for k in range(level.shape[-1] - 2, -1, -1):
        up[..., k] = np.maximum(up[..., k + 1], level[..., k + 1]) - FALLS_UP_DB
    for k in range(1, level.shape[-1]):
        down[..., k] = np.maximum(down[..., k - 1], level[..., k - 1]) - FALLS_DOWN_DB
    return np.maximum(up, down)


def _impossible(f0: np.ndarray) -> np.ndarray:
    """Return inf for sets with an empty voice or two voices in unison; a price for wide pairs."""
    rising = np.sort(f0, axis=2)
    extra = np.where((rising <= 0.0).any(axis=2), np.inf, 0.0)
    if f0.shape[2] > 1:
        steps = in_cents(np.maximum(rising[:, :, 1:], 1.0) / np.maximum(rising[:, :, :-1], 1.0))
        extra = np.where((steps < NARROW_CENTS).any(axis=2), np.inf, extra)
        extra = extra + PRICE_FAR * (steps > FAR_CENTS).any(axis=2)
    return extra
