"""One run judged: its figures, what is said of it, and its mark where it has one.

A mark is about the last settled playing. A later playing that could not be measured, but may well
have been in tune, takes it away.
"""

from typing import Any

from studio.intonation.judging.attribution import NOT_COMPARED, Compared, compared, hands_of
from studio.intonation.judging.interval_naming import Named
from studio.intonation.judging.marks import JudgedPlaying, bow_mark, interval_mark
from studio.intonation.judging.remarks import (
    Playing,
    balance,
    dropouts,
    hold_short,
    least_hold_s,
    note_moved,
    rested,
    run_changed,
)
from studio.intonation.judging.run_naming import Names
from studio.intonation.model.judgement import (
    CLOSE_TO_LIMIT,
    SURE,
    JudgedInterval,
    Mark,
    Remark,
    Run,
)
from studio.intonation.model.measurement import Measurement
from studio.intonation.model.runs import OCTAVE_DOUBT, SAME_NOTE_CENTS, RunOfPlayings
from studio.intonation.wording.sentences import SAME_CENTS

# Chosen:
HELD_ALONE_S = 0.8  # a lower note held this long after an octave may have been one
SETTLED_S = 0.3  # a shorter playing has no settled part


def judge_run(
    number: int,
    group: RunOfPlayings,
    judged: dict[int, list[JudgedInterval]],
    named: Names,
    measurement: Measurement,
) -> tuple[Run, Mark | None]:
    """The run numbered ``number``, and its mark or ``None``.

    Parameters
    ----------
    group : its playings and broken notes
    judged : the judged intervals of each event
    named : the names that its playings share
    """
    hands = {pair: hands_of(name, measurement.options) for pair, name in named.items()}
    rows = [
        JudgedPlaying(
            place, item.event, worst, named[worst.low, worst.high], hands[worst.low, worst.high]
        )
        for place, item in enumerate(group.playings, start=1)
        if (worst := _worst(judged[item.event.id], named)) is not None
    ]
    measured = [row for row in rows if _is_measured(row.judged)]
    figures, first_is = _figures(number, group, rows, measured)
    run = Run(**figures)
    remarks = _remarks(run, group, rows, measured)
    run = Run(**figures, remarks=tuple(remarks))  # replace() takes three times as long
    if group.wrong or not measured:
        return run, None
    last = measured[-1]
    if last.judged.verdict == "out" and not _later_in_tune(group, rows, last):
        alone = (
            compared(group.playings[last.place - 1], group.broken)
            if group.broken
            else (NOT_COMPARED)
        )
        return run, interval_mark(run, last, first_is, alone, measurement)
    return run, bow_mark(run, rows, measurement)


def _figures(
    number: int, group: RunOfPlayings, rows: list[JudgedPlaying], measured: list[JudgedPlaying]
) -> tuple[dict[str, Any], str]:
    """The run's figures by name, and what its first deviation is of: a playing, or a landing."""
    first, first_is = _first(measured)
    last = measured[-1].judged.deviation_cents if measured else None
    change = None if first is None or last is None else abs(last) - abs(first)
    doubt = _change_uncertainty(measured) if first_is == "playing" else None
    held = group.playings[-1].event
    figures = dict[str, Any](
        id=number,
        events=tuple(sorted(item.event.id for item in (*group.broken, *group.playings))),
        first_cents=first,
        last_cents=last,
        trend=_trend(change, doubt),
        score_ref=group.expected.ref if group.expected else None,
        playings=tuple(item.event.id for item in group.playings),
        broken=tuple(item.event.id for item in group.broken),
        broken_cents=_broken_cents(group, rows[-1].named if rows else None),
        short=rows[-1].judged.short if rows else None,
        change_cents=change,
        change_uncertainty_cents=doubt,
        held_s=held.end_s - held.start_s,
        least_hold_s=least_hold_s(rows[-1].named if rows else None),
    )
    return figures, first_is


def _remarks(
    run: Run,
    group: RunOfPlayings,
    rows: list[JudgedPlaying],
    measured: list[JudgedPlaying],
) -> list[Remark]:
    """How the run went; then what happened in it, in time."""
    found: list[Remark] = []
    if len(measured) > 1:
        last = measured[-1]
        found.append(run_changed(run, last.event, last.heard.uncertainty_cents))
    since_s = 0.0
    for row in rows:
        if len(row.event.voices) != 2:
            continue
        moved = _just_before(group, row, since_s)
        since_s = row.event.start_s
        if moved is NOT_COMPARED and not any(voice.dropouts for voice in row.event.voices):
            continue
        playing = Playing(row.event, row.named, row.hands, moved)
        found += note_moved(playing)
        found += dropouts(playing)
    if group.broken and len(group.playings) > 1:
        found += rested(group)
    if rows:
        final = Playing(rows[-1].event, rows[-1].named, rows[-1].hands)
        said = (balance(final), hold_short(run, final))
        found += [remark for remark in said if remark is not None]
    return found


def _just_before(group: RunOfPlayings, row: JudgedPlaying, since_s: float) -> Compared:
    """The playing's notes against those played separately since the playing before it."""
    if not group.broken or group.broken[-1].event.start_s < since_s:
        return NOT_COMPARED
    return compared(group.playings[row.place - 1], group.broken, since_s)


def _worst(judged: list[JudgedInterval], named: Names) -> JudgedInterval | None:
    """The interval of a playing furthest beyond its tolerance (a double stop has only one)."""
    known = [row for row in judged if (row.low, row.high) in named]
    if len(known) < 2:
        return known[0] if known else None
    return max(
        known,
        key=lambda row: (
            _is_measured(row),
            abs(row.deviation_cents or 0.0) / named[(row.low, row.high)].tolerance_cents,
        ),
    )


def _is_measured(row: JudgedInterval) -> bool:
    return row.deviation_cents is not None and row.unsure_reason in (None, CLOSE_TO_LIMIT)


def _first(measured: list[JudgedPlaying]) -> tuple[float | None, str]:
    """Deviation of the first playing, or of its landing where there is no second one."""
    if not measured:
        return None, "playing"
    row = measured[0]
    landing = row.heard.landing_size_cents
    target = row.named.target_cents
    if len(measured) == 1 and landing is not None and target is not None:
        return landing - target, "landing"
    return row.judged.deviation_cents, "playing"


def _change_uncertainty(measured: list[JudgedPlaying]) -> float | None:
    """One standard deviation of the change from the first to the last measured playing."""
    if len(measured) < 2:
        return None
    doubts = [measured[place].heard.uncertainty_cents or 0.0 for place in (0, -1)]
    return (doubts[0] ** 2 + doubts[1] ** 2) ** 0.5


def _trend(change: float | None, uncertainty: float | None) -> str | None:
    """better, same or worse; the same within what the measurement may err."""
    if change is None:
        return None
    if abs(change) < max(SAME_CENTS, SURE * (uncertainty or 0.0)):
        return "same"
    return "better" if change < 0 else "worse"


def _broken_cents(group: RunOfPlayings, named: Named | None) -> float | None:
    """The last low and the last high broken note, judged as the interval they belong to."""
    if named is None or named.target_cents is None:
        return None
    if named.interval.semitones == 0:  # the two notes of a unison cannot be told apart in turn
        return None
    size = group.size_apart_cents
    return None if size is None else size - named.target_cents


def _lower_note_alone_after(group: RunOfPlayings, last: JudgedPlaying) -> bool:
    """Whether an octave's lower note was held, by itself as it seemed, after its last playing.

    An octave in tune hides its upper note best, so that this may have been the playing that came
    right: better no mark than a false one.
    """
    if last.named.interval.semitones != 12:
        return False
    lower = group.playings[last.place - 1].cents[0]
    return any(
        item.event.start_s >= last.event.end_s
        and item.event.end_s - item.event.start_s >= HELD_ALONE_S
        and abs(item.cents[0] - lower) < SAME_NOTE_CENTS
        for item in group.broken
    )


def _later_in_tune(group: RunOfPlayings, rows: list[JudgedPlaying], last: JudgedPlaying) -> bool:
    """Whether a playing after the last measured one may well have been in tune.

    One that could not be measured tells nothing, unless it was too short to have settled.
    """
    if any(item.event.doubt == OCTAVE_DOUBT for item in group.playings[last.place :]):
        return True
    if _lower_note_alone_after(group, last):
        return True
    return any(
        row.judged.unsure_reason == OCTAVE_DOUBT
        or _held_unmeasured(row)
        or (
            row.judged.deviation_cents is not None
            and abs(row.judged.deviation_cents) <= row.named.tolerance_cents
        )
        for row in rows
        if row.place > last.place
    )


def _held_unmeasured(row: JudgedPlaying) -> bool:
    unmeasured = row.heard.uncertainty_cents is None or row.heard.unsure_reason is not None
    return unmeasured and row.event.end_s - row.event.start_s >= SETTLED_S
