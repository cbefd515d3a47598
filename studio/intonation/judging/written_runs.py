"""Runs by what is written: every playing of one expected note is one run, whenever it came.

A pupil who goes back to the beginning plays a written double stop again; with the drill in hand
that is one more playing of it, and only the last one counts. Whatever the drill does not ask for is
grouped by what was heard, as without one. What was played *in the place of* a written note is named
as wrong and not measured against it: it gets a run, and no mark.
"""

from collections.abc import Sequence

from studio.intonation.judging.interval_naming import Named, Namer
from studio.intonation.model.expected import ExpectedNote
from studio.intonation.model.following import FollowedEvent, Following
from studio.intonation.model.runs import Played, RunOfPlayings, cents_of, find_runs

Names = dict[tuple[int, int], Named]  # by (low, high) voice index


def runs_by_note(
    items: Sequence[Played], following: Following, namer: Namer, a4_hz: float
) -> tuple[list[RunOfPlayings], list[Names | None]]:
    """Group what was heard by what was written.

    Returns
    -------
    runs, names
        In the order written, then what the drill does not ask for, in time; ``None`` for the names
        of the latter, which have to be found by ear.
    """
    rows = {row.event: row for row in following.events}
    groups: dict[tuple[int, tuple[int | None, ...]], RunOfPlayings] = {}
    names: dict[tuple[int, tuple[int | None, ...]], Names] = {}
    single: list[tuple[FollowedEvent, Played]] = []
    for item in items:
        row = rows[item.event.id]
        if row.state not in ("whole", "part") or row.note is None:
            continue
        if sum(place is not None for place in row.voices) < 2:
            single.append((row, item))
            continue
        key = (row.note, row.voices)
        if key not in groups:
            note = following.score[row.note]
            groups[key] = RunOfPlayings(expected=note)
            names[key] = names_of(row, note, namer)
        groups[key].playings.append(_as_read(item, row, a4_hz))
    for row, item in single:
        _give_broken(row, item, groups, following)
    keys = sorted(groups, key=lambda key: (key[0], groups[key].playings[0].event.start_s))
    left = find_runs([item for item in items if rows[item.event.id].state in ("extra", "wrong")])
    for group in left:
        group.wrong = any(rows[item.event.id].state == "wrong" for item in group.playings)
    return (
        [*(groups[key] for key in keys), *left],
        [*(names[key] for key in keys), *(None for _ in left)],
    )


def names_of(row: FollowedEvent, note: ExpectedNote, namer: Namer) -> Names:
    """The written names of an event's pairs of voices."""
    placed = [(voice, place) for voice, place in enumerate(row.voices) if place is not None]
    return {
        (low, high): namer.written(note, low_place, high_place)
        for number, (low, low_place) in enumerate(placed)
        for high, high_place in placed[number + 1 :]
    }


def single_notes(following: Following) -> dict[int, ExpectedNote | None]:
    """Events that were written single notes, by id; ``None`` for those that no melody is judged by:
    notes of a double stop played alone, and what was wrong."""
    found: dict[int, ExpectedNote | None] = {}
    for row in following.events:
        if row.note is None:
            continue
        alone = row.state == "whole" and following.belongs_to[row.note] is None
        found[row.event] = following.score[row.note] if alone else None
    return found


def _as_read(item: Played, row: FollowedEvent, a4_hz: float) -> Played:
    if not row.reading:
        return item
    f0s_hz = sorted(item.event.alternatives[row.reading - 1].f0_hz)
    return Played(item.event, tuple(cents_of(f0, a4_hz) for f0 in f0s_hz), (item.cents,))


def _give_broken(
    row: FollowedEvent,
    item: Played,
    groups: dict[tuple[int, tuple[int | None, ...]], RunOfPlayings],
    following: Following,
) -> None:
    """Give a note played alone to the run of its double stop.

    A separate note counts while the double stop is still to come; after that it belongs to another
    round, or is just another note.
    """
    assert row.note is not None
    separate = following.belongs_to[row.note]
    note = row.note if separate is None else separate
    for (of, _), group in groups.items():
        if of != note:
            continue
        if separate is None or item.event.start_s < group.playings[-1].event.start_s:
            group.broken.append(item)
        return
