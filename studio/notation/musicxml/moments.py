"""What sounds at each moment of a part: its notes put in time, together."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from studio.notation.musicxml.timed_notes import TimedNote
from studio.notation.score import MAX_VOICES, MAX_WRITTEN, Written


@dataclass(frozen=True, slots=True)
class Moment:
    """What sounds from a moment at which a note begins, times in quarter notes.

    ``begins`` are those of ``notes`` that begin here, or are written here, tied to what was before;
    ``silence`` is how long nothing sounded before it.
    """

    notes: tuple[TimedNote, ...]
    begins: tuple[TimedNote, ...]
    start: Fraction
    beats: Fraction
    silence: Fraction
    bar: int
    measure: int

    @property
    def end(self) -> Fraction:
        return self.start + self.beats


def moments_of(sounding: list[TimedNote]) -> tuple[list[Moment], list[int]]:
    """What sounds at each moment where a note begins; bars in which that is too much for a hand."""
    by_start: dict[Fraction, list[TimedNote]] = defaultdict(list)
    for note in sounding:
        by_start[note.start].append(note)
    starts = sorted(by_start)
    if len(starts) > MAX_WRITTEN:
        raise ValueError(f"{len(starts)} notes are more than a drill's {MAX_WRITTEN}")
    found, held = list[Moment](), list[TimedNote]()
    crowded: list[int] = []
    for place, start in enumerate(starts):
        held = [note for note in held if note.end > start] + by_start[start]
        following = starts[place + 1] if place + 1 < len(starts) else max(n.end for n in held)
        end = min(following, max(note.end for note in held))
        first = by_start[start][0]
        if len(held) > MAX_VOICES:
            crowded.append(first.bar)
            continue
        silence = start - (found[-1].end if found else start)
        sounding_now = [note.at(start) for note in held]
        found.append(_one(sounding_now, first, start, end - start, silence))
    if not found:
        raise ValueError(
            f"all bars have more than {MAX_VOICES} notes at once; four strings hold {MAX_VOICES}"
        )
    return found, crowded


def _one(
    held: list[TimedNote], first: TimedNote, start: Fraction, beats: Fraction, silence: Fraction
) -> Moment:
    notes = sorted(held, key=lambda note: (note.pitch.midi, note.noted.seat))
    begins = tuple(note for note in notes if note.start == start or note.is_tied)
    return Moment(tuple(notes), begins, start, beats, silence, first.bar, first.noted.measure)


def with_tempo(
    written: list[Written],
    moments: list[Moment],
    tempo: Sequence[str | None],
    at_will: Sequence[bool],
) -> list[Written]:
    """The silences between, and what each measure says of the tempo (:mod:`.tempo`).

    That stands at the first thing written in the measure, or after it where it is empty.
    """
    found, said_to = list[Written](), -1
    for item, moment in zip(written, moments, strict=True):
        said = [word for word in tempo[said_to + 1 : moment.measure + 1] if word]
        said_to = max(said_to, moment.measure)
        held = at_will[moment.measure] or any(note.noted.held for note in moment.begins)
        rest = moment.silence
        found.append(replace(item, rest_before=rest, tempo=said[-1] if said else None, held=held))
    return found
