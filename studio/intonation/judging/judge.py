"""From a measurement and a policy to verdicts, runs and marks. No sound is touched.

The rules
---------
* A double stop is judged against the policy's tuning; its broken notes as that same interval.
* ``in_tune`` up to half the tolerance, ``near`` up to the tolerance, ``out`` beyond it by more
  than twice the uncertainty; in between, or where the measurement is doubtful, ``unsure``.
* At most one mark per run, on its last settled playing. A later playing that could not be
  measured, but may well have been in tune, takes the mark away.
* A size without an agreed target is ``unsure`` and never marked.
"""

from collections.abc import Sequence

from studio.intonation.alignment import follow, with_figures
from studio.intonation.judging.interval_naming import Named, Namer
from studio.intonation.judging.marks import numbered, open_string_mark
from studio.intonation.judging.run_judgement import SETTLED_S, judge_run
from studio.intonation.judging.run_naming import Meaning, Names, runs_by_note, single_notes
from studio.intonation.judging.single_notes import judge_singles
from studio.intonation.model.judgement import (
    JudgedInterval,
    JudgedSingle,
    Judgement,
    Mark,
    Run,
    verdict_of,
)
from studio.intonation.model.measurement import Event, HeardInterval, Measurement
from studio.intonation.model.options import Policy
from studio.intonation.model.runs import (
    DOUBTFUL_CONFIDENCE,
    OCTAVE_DOUBT,
    RunOfPlayings,
    find_runs,
    is_unlikely,
    played,
)
from studio.intonation.model.score_following import ExpectedNote, Following, Pin
from studio.theory import SEMITONE_CENTS, Pitch

NAMED_WITHIN_CENTS = SEMITONE_CENTS  # chosen: a size further off was given a wrong name


def judge(
    measurement: Measurement,
    policy: Policy,
    score: Sequence[ExpectedNote] | None = None,
    *,
    following: Following | None = None,
    pins: Sequence[Pin] = (),
) -> Judgement:
    """Judge a measurement.

    Parameters
    ----------
    measurement : what was heard
    policy : tuning, tolerances and what else the teacher set
    score : expected notes, in order. The playing is followed through them: they give names,
        fingering and ``score_ref``, and each of them is one run however often it was played.
    following : how this measurement follows that score, where it is known already (another policy
        does not change it)
    pins : spans of the clip that are known to be a bar of that score

    Returns
    -------
    Judgement
        Pure: the same arguments always give the same judgement.

    Raises
    ------
    UnusablePin
        For pins that contradict each other, or one that has no place here; it is a ValueError.
    """
    if following is None and score:
        following = follow(measurement, score, pins)
    namer = Namer(policy, measurement.key)
    groups, names = _named_runs(measurement, policy, following, namer)
    judged = _judged(measurement, namer, groups, names)
    runs, marks = _runs_and_marks(measurement, judged, groups, names)
    singles, more = _singles(measurement, policy, following, namer, runs)
    intervals = tuple(row for rows in judged.values() for row in rows)
    return Judgement(
        policy,
        intervals,
        tuple(singles),
        tuple(runs),
        _in_order([*marks, *more], measurement),
        with_figures(following, intervals, singles) if following else None,
    )


def _named_runs(
    measurement: Measurement, policy: Policy, following: Following | None, namer: Namer
) -> tuple[list[RunOfPlayings], list[Names]]:
    """The runs with the names of their pairs: what is written, else what they were meant to be."""
    strings, a4_hz = measurement.options.strings, measurement.reference.a4_hz
    items = [played(event, a4_hz, strings) for event in measurement.events]
    meaning = Meaning(namer, items, key_given=policy.key is not None)
    if following is None:
        groups = find_runs(items)
        return groups, [meaning.names_of(group) for group in groups]
    groups, written = runs_by_note(items, following, namer, a4_hz)
    return groups, [
        meaning.names_of(group) if named is None else named
        for group, named in zip(groups, written, strict=True)
    ]


def _judged(
    measurement: Measurement,
    namer: Namer,
    groups: Sequence[RunOfPlayings],
    names: Sequence[Names],
) -> dict[int, list[JudgedInterval]]:
    """The intervals of each event, by its id, named as its run is."""
    shared = {
        item.event.id: named
        for group, named in zip(groups, names, strict=True)
        for item in group.playings
    }
    strings = measurement.options.strings
    return {
        event.id: _judge_event(event, namer, shared.get(event.id, {}), strings)
        if event.intervals
        else []
        for event in measurement.events
    }


def _runs_and_marks(
    measurement: Measurement,
    judged: dict[int, list[JudgedInterval]],
    groups: Sequence[RunOfPlayings],
    names: Sequence[Names],
) -> tuple[list[Run], list[Mark]]:
    """Every run, and the mark of those that have one."""
    found = [
        judge_run(number, group, judged, named, measurement)
        for number, (group, named) in enumerate(zip(groups, names, strict=True))
    ]
    return [run for run, _ in found], [mark for _, mark in found if mark]


def _singles(
    measurement: Measurement,
    policy: Policy,
    following: Following | None,
    namer: Namer,
    runs: Sequence[Run],
) -> tuple[list[JudgedSingle], list[Mark]]:
    """Single notes and their marks, where the policy asks for a melody."""
    if not policy.judge_singles:
        return [], []
    broken = {event for run in runs for event in run.broken}
    alone = single_notes(following) if following else {}
    return judge_singles(measurement, policy, namer, broken, alone)


def _in_order(marks: list[Mark], measurement: Measurement) -> tuple[Mark, ...]:
    """Open strings first, since they mislead the hand; then by time; numbered from 0, ranked."""
    strings = [open_string_mark(string, measurement) for string in measurement.open_strings]
    first = [mark for mark in strings if mark is not None]
    ordered = first + sorted(marks, key=lambda mark: mark.start_s)
    return numbered(ordered)


def _own_name(event: Event, interval: HeardInterval, namer: Namer) -> Named:
    low, high = event.voices[interval.low], event.voices[interval.high]
    return namer.intended(low.midi, high.midi, interval.size_cents)


def _judge_event(
    event: Event, namer: Namer, shared: Names, strings: tuple[Pitch, ...]
) -> list[JudgedInterval]:
    return [
        _judge_interval(
            event,
            interval,
            shared.get((interval.low, interval.high)) or _own_name(event, interval, namer),
            strings,
        )
        for interval in event.intervals
    ]


def _judge_interval(
    event: Event, interval: HeardInterval, named: Named, strings: tuple[Pitch, ...]
) -> JudgedInterval:
    target = named.target_cents
    deviation = None if target is None else interval.size_cents - target
    verdict, reason = "unsure", None
    if deviation is None:
        reason = "no_agreed_target"
    else:
        reason = _doubt(event, interval, named, deviation) or _unlikely(
            event, named, deviation, strings
        )
        if reason is None:
            verdict, reason = verdict_of(
                deviation, named.tolerance_cents, interval.uncertainty_cents
            )
    return JudgedInterval(
        event.id,
        interval.low,
        interval.high,
        named.interval.name,
        named.interval.short,
        target,
        deviation,
        verdict,
        reason,
        named.score_ref,
        *named.names,
    )


def _doubt(
    event: Event, interval: HeardInterval, named: Named, deviation_cents: float
) -> str | None:
    """Why this interval cannot be judged, whatever its size.

    That an octave cannot be told from one note is settled where the drill asks for it.
    """
    asked = named.asked and abs(deviation_cents) <= named.tolerance_cents
    for reason in (event.doubt, interval.unsure_reason):
        if reason and not (asked and reason == OCTAVE_DOUBT):
            return reason
    return "between_sizes" if named.between else None


def _unlikely(
    event: Event, named: Named, deviation_cents: float, strings: tuple[Pitch, ...]
) -> str | None:
    """Too short to have settled, or notes that were hardly played together."""
    if event.end_s - event.start_s < SETTLED_S:
        return "too_short"
    if event.confidence < DOUBTFUL_CONFIDENCE or abs(deviation_cents) > NAMED_WITHIN_CENTS:
        return "doubtful_notes"
    if event.kind == "double_stop" and not named.asked:
        return "doubtful_notes" if is_unlikely(*named.midi, strings) else None
    return None
