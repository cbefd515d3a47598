"""What each expected note got, in cents: all its playings, the first, the best and the last."""

from collections.abc import Sequence
from dataclasses import replace

from studio.intonation.model.following import FollowedNote, Following
from studio.intonation.model.judgement import JudgedInterval, JudgedSingle
from studio.intonation.model.thresholds import CLOSE_TO_LIMIT


def with_figures(
    following: Following, intervals: Sequence[JudgedInterval], singles: Sequence[JudgedSingle]
) -> Following:
    """The same following, its notes with the deviations of their measured playings.

    A chord counts by the interval furthest off. A playing that was not measured, or whose size has
    no agreed target, has no figure.
    """
    cents: dict[int, float] = {}
    judged: list[JudgedInterval | JudgedSingle] = [*intervals, *singles]
    for row in judged:
        if row.deviation_cents is None or row.unsure_reason not in (None, CLOSE_TO_LIMIT):
            continue
        if row.event not in cents or abs(row.deviation_cents) > abs(cents[row.event]):
            cents[row.event] = row.deviation_cents
    return replace(following, notes=tuple(_figures(note, cents) for note in following.notes))


def _figures(note: FollowedNote, cents: dict[int, float]) -> FollowedNote:
    heard = note.playings if len(note.pitches) < 3 else tuple(sorted(note.playings + note.parts))
    measured = tuple(event for event in heard if event in cents)
    if not measured:
        return note
    deviations = tuple(cents[event] for event in measured)
    return replace(
        note,
        measured=measured,
        deviations_cents=deviations,
        first_cents=deviations[0],
        best_cents=min(deviations, key=abs),
        last_cents=deviations[-1],
    )
