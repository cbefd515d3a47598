"""Two notes under one bow, or one after the other? Double stops too short for ``voicing``.

Conventions
-----------
* A *run* is a span in which a pair of notes was heard, whatever else was heard with it: events that
  follow each other without a gap and all hold both. Levels are those of own partials, in dB, as in
  ``envelopes``; signs of single voices as in ``voicing``.
* Signs are numbers in the order of ``SIGNS``; log-odds are for two notes drawn by one bow against
  one note, or two one after the other of which the first rings on.

Method
------
``voicing`` asks each voice by itself, and of a short one it cannot be sure. But what one bow draws
has a common fate (Bregman, *Auditory Scene Analysis*, 1990, ch. 3): both levels rise, swell and
fall together. A string that rings on does the opposite of the one that is bowed after it: it was
louder before, and it falls while the other rises. So the *pair* is asked:

* *together*: the correlation of the two levels, and the share of the time in which both are near
  their own usual level (*both*); *apart*: their mean difference; *handover*: over all moments, how
  far the one falls and the other rises there; *overlap*: of the spans around the run in which
  each is near its loudest;
* *rise*: how much louder the worse of both is just after the beginning than just before it;
  *before*: how loud the louder was then; *peak*: how much louder one of them was around the run
  than in it;
* *level*: how far the quieter lies below the louder; *slope* of the worse; *length*; *more*: how
  many other notes were heard with the two;
* the worse of both voices' signs of ``voicing``.

A logistic function joins them, fitted on real playing with aligned scores and on made clips
(``tests/intonation/detection/fit_common_bow.py``). Octaves and twelfths, of which one note's
partials all lie on the other's, are not asked here.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from studio.intonation.detection import boundaries, voicing
from studio.intonation.detection.envelopes import Envelopes, envelopes
from studio.intonation.detection.hypotheses import MAX_VOICES
from studio.intonation.detection.resampling import Sound
from studio.intonation.detection.segments import Event, chance_margin, has_note
from studio.intonation.percentiles import median, percentile
from studio.theory import in_cents

LEVEL_SIGNS = (
    *("together", "both", "apart", "handover", "overlap"),
    *("rise", "before", "peak", "level", "slope", "length", "more"),
)
# The worse of both voices', as voicing has them: the least of these, the most of those.
LEAST_SIGNS, MOST_SIGNS = ("snr", "found", "fading"), ("unrest", "stretch", "stretched", "drop")
SIGNS = (*LEVEL_SIGNS, *LEAST_SIGNS, *MOST_SIGNS)
SURE = -0.8  # log-odds above which a run is one bow's: chosen, where few single lines become pairs
# Fitted by tests/intonation/detection/fit_common_bow.py; in the order of SIGNS:
WEIGHTS = np.array(
    [
        *(0.925, 2.419, -0.037, -0.078, 0.064),
        *(0.049, -0.077, -0.156, -0.018, -0.009, 1.504, 0.319),
        *(0.179, 1.664, 0.076, -0.547, -0.948, -0.452, 0.026),
    ]
)
BIAS = -4.838  # log-odds
# Log-odds that the voices' signs seldom add (measured). Where even these would not do, they are not
# asked: two runs of three. Of 306 of one bow it loses 4.
VOICES_ADD = 5.5
# Chosen; what the weights were fitted to. Changing one asks for a new fit.
AROUND_S = 0.3  # of the levels before and after a run
ADJOIN_S = 0.06  # events no further apart are one run
SAME_CENTS = 60.0  # as ``segments`` has it: wide vibrato and slides stay one note
ONE_SERIES_CENTS = (1200.0, 1902.0, 2400.0)  # the upper note's partials lie on the lower's
ONE_SERIES_WITHIN = 75.0  # cents: as far as octaves are told by ``octaves``
USUAL_PERCENTILE = 85.0  # of a voice's levels in a run: its usual one
LOUDEST_PERCENTILE = 90.0  # of them: its loudest, but for moments
NEAR_DB = 6.0  # below its usual level a voice is near it
LOUD_DB = 7.0  # below its loudest, a voice is bowed no more
LEVELS_DB = (-25.0, 5.0)  # re the usual one, bounds: what fades out must not outweigh the rest
BEFORE_S, JUST_S = 0.14, 0.03  # before the beginning: from, to
AFTER_S = 0.15  # after it, what belongs to the beginning
BESIDE_S, LOUD_BESIDE_S = 0.01, 0.02  # of level around a run that belongs to it: edges are coarse
RING_S = 0.03  # within this of a bow's end, what follows rings
EDGE = 4  # steps of the envelope that a moment of handover keeps from the ends
LEAST_STEPS, LEAST_SPREAD_DB = 4, 0.1  # of two levels: with less they correlate by accident
LEAST_SPAN_S, LEAST_LENGTH_S = 0.02, 0.03  # divided by, and whose logarithm is taken
MOST_SHARE = 0.5  # of a run, in which a third note sounds with both to belong to it
# Bounds of the signs (dB, dB/s), as they were when the weights were fitted: what is further off
# tells no more.
RISE_DB, BEFORE_DB = (-20.0, 30.0), (-30.0, 20.0)
PEAK_DB, LEVEL_DB = (0.0, 20.0), (-30.0, 0.0)
SLOPE_DB_PER_S = (-80.0, 40.0)


@dataclass(slots=True)
class PairRun:
    """A pair of notes ``f0_hz`` (2,) in events ``first`` to ``last`` (inclusive)."""

    first: int
    last: int
    start_s: float
    end_s: float
    f0_hz: np.ndarray
    others_hz: np.ndarray
    more: int

    @property
    def length_s(self) -> float:
        return self.end_s - self.start_s


def pair_runs(events: Sequence[Event]) -> list[PairRun]:
    """Return every pair of notes heard at once, over all events in a row that hold it.

    ``events`` are in time order. A new stroke ends a run.
    """
    runs: list[PairRun] = []
    going: list[PairRun] = []  # those that reach the event before
    for n, event in enumerate(events):
        close = n > 0 and event.start_s - events[n - 1].end_s < ADJOIN_S
        adjoins = close and not event.new_stroke
        before, going = going if adjoins else [], []
        for pair in combinations(event.f0_hz, 2):
            both = np.array(pair)
            if _one_series(both):
                continue
            run = next((r for r in before if _same(r.f0_hz, both)), None)
            if run is None:
                run = PairRun(n, n, event.start_s, event.end_s, both, np.zeros(0), 0)
                runs.append(run)
            else:
                _go_on(run, n, events, both)
            going.append(run)
    for run in runs:
        _look_around(run, events)
    return runs


def _go_on(run: PairRun, n: int, events: Sequence[Event], both: np.ndarray) -> None:
    longest = max(e.end_s - e.start_s for e in events[run.first : n])
    if events[n].end_s - events[n].start_s > longest:
        run.f0_hz = both
    run.last, run.end_s = n, events[n].end_s


def _look_around(run: PairRun, events: Sequence[Event]) -> None:
    """Note which other notes sound beside the run, and how many with it."""
    near = [
        e
        for e in events[max(0, run.first - 1) : run.last + 2]
        if e.end_s > run.start_s - AROUND_S and e.start_s < run.end_s + AROUND_S
    ]
    run.others_hz = _others(np.concatenate([e.f0_hz for e in near]), run.f0_hz)
    run.more = max(len(e.f0_hz) for e in events[run.first : run.last + 1]) - 2


def _others(f0_hz: np.ndarray, pair: np.ndarray) -> np.ndarray:
    """Return the notes that are not the pair's, each once."""
    found: list[float] = []
    for f0 in f0_hz:
        if all(abs(in_cents(f0 / g)) >= SAME_CENTS for g in (*pair, *found)):
            found.append(float(f0))
    return np.array(found)


def _same(a: np.ndarray, b: np.ndarray) -> bool:
    return bool((np.abs(in_cents(a / b)) < SAME_CENTS).all())


def _one_series(pair: np.ndarray) -> bool:
    size = in_cents(pair[1] / pair[0])
    return bool(np.abs(size - np.array(ONE_SERIES_CENTS)).min() < ONE_SERIES_WITHIN)


def log_odds(sound: Sound, run: PairRun) -> float:
    """Return the log-odds of one bow for a run.

    -inf where its voices cannot be judged, or where the levels alone leave them no chance.
    """
    levels = _level_signs(sound, run)
    told = float(levels @ WEIGHTS[: len(levels)] + BIAS)
    if told < SURE - VOICES_ADD:
        return -np.inf
    odds = told + float(_voice_signs(sound, run) @ WEIGHTS[len(levels) :])
    return odds if np.isfinite(odds) else -np.inf


def run_signs(sound: Sound, run: PairRun) -> np.ndarray:
    """Return the signs of a run, shape (len(SIGNS),); NaN where the voices cannot be judged."""
    return np.concatenate([_level_signs(sound, run), _voice_signs(sound, run)])


def _level_signs(sound: Sound, run: PairRun) -> np.ndarray:
    start_s, end_s = run.start_s, run.end_s
    env = envelopes(sound, start_s - AROUND_S, end_s + AROUND_S, run.f0_hz, run.others_hz)
    span = env.between(start_s - BESIDE_S, end_s + BESIDE_S)
    usual = percentile(env.db[:, span], USUAL_PERCENTILE)[:, None]
    low, high = np.clip(env.db[:, span] - usual, *LEVELS_DB)
    held = env.db[:, env.between(start_s, end_s)]
    level = median(held)
    before = median(env.db[:, env.between(start_s - BEFORE_S, start_s - JUST_S)])
    first_s = start_s + JUST_S, min(start_s + AFTER_S, end_s)
    first = median(env.db[:, env.between(*first_s)])
    time_s = env.time_s[env.between(start_s, end_s)]
    loudest = percentile(held, LOUDEST_PERCENTILE)
    slope = min(boundaries.slope_db_per_s(db, time_s) for db in held)
    values = {
        "together": _correlation(low, high),
        "both": float((np.minimum(low, high) > -NEAR_DB).mean()),
        "apart": float(np.abs((low - median(low)) - (high - median(high))).mean()),
        "handover": _handover(low, high),
        "overlap": _overlap(env, start_s, end_s),
        "rise": np.clip((first - before).min(), *RISE_DB),
        "before": np.clip((before - level).max(), *BEFORE_DB),
        "peak": np.clip((env.db.max(axis=1) - loudest).max(), *PEAK_DB),
        "level": np.clip(level.min() - level.max(), *LEVEL_DB),
        "slope": np.clip(slope, *SLOPE_DB_PER_S),
        "length": np.log(max(end_s - start_s, LEAST_LENGTH_S)),
        "more": run.more,
    }
    return np.array([float(values[name]) for name in LEVEL_SIGNS])


def _voice_signs(sound: Sound, run: PairRun) -> np.ndarray:
    voices = voicing.voice_signs(sound, run.start_s, run.end_s, run.f0_hz)
    if np.isnan(voices).all(axis=0).any():
        return np.full(len(LEAST_SIGNS) + len(MOST_SIGNS), np.nan)
    least = [np.nanmin(voices[:, voicing.SIGNS.index(name)]) for name in LEAST_SIGNS]
    most = [np.nanmax(voices[:, voicing.SIGNS.index(name)]) for name in MOST_SIGNS]
    return np.array([*least, *most])


def shorten_to_bow(sound: Sound, run: PairRun, events: Sequence[Event]) -> None:
    """Take events off the ends of a run in which the two only ring, or are not yet bowed."""
    env = envelopes(sound, run.start_s - AROUND_S, run.end_s + AROUND_S, run.f0_hz, run.others_hz)
    spans = [_loud_span(db, env, run.start_s, run.end_s) for db in env.db]
    begins, ends = max(a for a, _ in spans), min(b for _, b in spans)
    while run.first < run.last and events[run.last].start_s > ends - RING_S:
        run.last -= 1
    while run.first < run.last and events[run.first].end_s < begins + RING_S:
        run.first += 1
    run.start_s, run.end_s = events[run.first].start_s, events[run.last].end_s


def _correlation(a: np.ndarray, b: np.ndarray) -> float:
    spread = a.std(), b.std()
    if len(a) < LEAST_STEPS or min(spread) < LEAST_SPREAD_DB:
        return 0.0
    return float(((a - a.mean()) * (b - b.mean())).mean() / (spread[0] * spread[1]))


def _handover(a: np.ndarray, b: np.ndarray) -> float:
    """Return the most by which one falls and the other rises at one moment, in dB."""
    count = len(a)
    if count <= 3 * EDGE:
        return 0.0
    k = np.arange(EDGE, count - EDGE)
    falls = []
    for x in (a, b):
        until = np.cumsum(x)[k - 1]
        falls.append(until / k - (x.sum() - until) / (count - k))
    one, other = falls
    return float(np.maximum(np.minimum(one, -other), np.minimum(-one, other)).max())


def _overlap(env: Envelopes, start_s: float, end_s: float) -> float:
    """Return the share in common of the spans in which each voice is near its loudest."""
    spans = [_loud_span(db, env, start_s, end_s) for db in env.db]
    (a, b), (c, d) = spans
    return max(0.0, min(b, d) - max(a, c)) / max(max(b, d) - min(a, c), LEAST_SPAN_S)


def _loud_span(db: np.ndarray, env: Envelopes, start_s: float, end_s: float) -> tuple[float, float]:
    span = env.between(start_s - LOUD_BESIDE_S, end_s + LOUD_BESIDE_S)
    loud = db > percentile(db[span], LOUDEST_PERCENTILE) - LOUD_DB
    first = last = span.start + int(np.argmax(db[span]))
    while first > 0 and loud[first - 1]:
        first -= 1
    while last < len(db) - 1 and loud[last + 1]:
        last += 1
    return float(env.time_s[first]), float(env.time_s[last])


def under_common_bow(sound: Sound, events: list[Event]) -> list[Event]:
    """Return events with what one bow surely drew together made one event each.

    Of two runs that share an event, the surer one stands. A third note belongs to it where it
    was drawn together with both others.
    """
    runs = [(log_odds(sound, run), run) for run in pair_runs(events)]
    sure = sorted((r for r in runs if r[0] > SURE), key=lambda r: -r[0])
    taken: dict[int, Event] = {}
    for odds, run in sure:
        shorten_to_bow(sound, run, events)
        places = range(run.first, run.last + 1)
        if taken.keys().isdisjoint(places):
            pieces = events[run.first : run.last + 1]
            whole = _drawn_together(pieces, _with_companions(run, [r for _, r in sure]), odds)
            taken |= dict.fromkeys(places, whole)
    out = [taken.get(n, event) for n, event in enumerate(events)]
    return [e for n, e in enumerate(out) if n == 0 or e is not out[n - 1]]


def _with_companions(run: PairRun, sure: list[PairRun]) -> np.ndarray:
    """Return the run's notes and those drawn together with each of them most of the time."""
    voices = run.f0_hz
    beside = [r for r in sure if r is not run and _shared_s(r, run) > MOST_SHARE * run.length_s]
    for f0 in run.others_hz:
        partners = np.array([g for r in beside for g in r.f0_hz if has_note(r.f0_hz, f0)])
        if len(partners) and all(has_note(partners, g) for g in voices):
            voices = np.sort(np.append(voices, f0))
    return voices[:MAX_VOICES]


def _shared_s(a: PairRun, b: PairRun) -> float:
    return min(a.end_s, b.end_s) - max(a.start_s, b.start_s)


def _drawn_together(pieces: list[Event], f0_hz: np.ndarray, odds: float) -> Event:
    """Return one event of the notes ``f0_hz`` in place of ``pieces``."""
    longest = max(pieces, key=lambda e: e.length_s)
    others = [tuple(float(f) for f in longest.f0_hz), *longest.alternatives]
    chance = 1.0 / (1.0 + np.exp(-odds))
    return replace(
        longest,
        start_s=pieces[0].start_s,
        end_s=pieces[-1].end_s,
        f0_hz=f0_hz,
        margin=max(longest.margin, chance_margin(chance)),
        alternatives=others,
        new_stroke=pieces[0].new_stroke,
        common_bow=True,
    )
