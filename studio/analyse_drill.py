"""The drill of ``python -m studio analyse FILE --drill PAGE``: read, and shown beside what sounded.

Needs no Django settings.
"""

from pathlib import Path

from studio.figures import place, signed
from studio.intonation import Analysis, ExpectedNote, Following
from studio.intonation.model.score_following import FollowedEvent, FollowedNote
from studio.notation.musicxml import NotMusic, Read, read_musicxml
from studio.theory import Pitch


class NoDrill(ValueError):
    """The page cannot be read; says why and what to do."""


def read_drill(path: Path, instrument: str | None = None) -> Read:
    """The score of a MusicXML file.

    Raises
    ------
    NoDrill
        For a file that is not there, or is no page of music.
    """
    if not path.is_file():
        raise NoDrill(f"there is no file {path}. Check the path.")
    try:
        return read_musicxml(path.read_bytes(), instrument=instrument, title=path.stem)
    except NotMusic as error:
        raise NoDrill(f"{path.name} cannot be read as a drill. {error}") from None


def expected_notes(read: Read) -> list[ExpectedNote]:
    """What is written, as the follower takes it."""
    return [ExpectedNote.from_dict(written) for written in read.score.to_dict()["written"]]


def place_words(row: FollowedEvent | None, following: Following) -> str:
    """Bar and note of an event, as in ``3 n7``."""
    if row is None or row.note is None:
        return "–"
    note = following.notes[row.note]
    return _place(note)


def _place(note: FollowedNote) -> str:
    bar = "" if note.bar is None else f"{note.bar} "
    return f"{bar}{note.ref or note.note + 1}"


def remark(row: FollowedEvent | None) -> str:
    """What is worth saying of an event beside its verdict."""
    if row is None or row.state == "extra":
        return "not in the drill"
    if row.state == "wrong":
        return f"instead of {_pretty(row.expected)}"
    return ""


def drill_table(analysis: Analysis) -> str:
    """Note by note: playings, first, best and last deviation; then what was missed or wrong."""
    following = analysis.judgement.following
    if following is None:
        return ""
    head = (
        f"{'bar note':10} {'notes':14} {'playings':>8} {'first':>8} {'best':>8} {'last':>8}  cents"
    )
    shown = [note for note in following.notes if len(note.pitches) > 1 or note.deviations_cents]
    rows = [_row(note) for note in shown if note.state not in ("missed", "not_reached")]
    parts = ["Note by note", head, *rows] if rows else []
    return "\n".join([*parts, *_left_out(analysis, following)])


def _row(note: FollowedNote) -> str:
    figures = " ".join(
        f"{signed(cents, 1):>8}" for cents in (note.first_cents, note.best_cents, note.last_cents)
    )
    words = {"apart": "  notes one by one only", "wrong": "  not as written"}
    ending = words.get(note.state, "")
    return (
        f"{_place(note):10} {_pretty(note.pitches):14} {len(note.playings):>8} {figures}{ending}"
    ).rstrip()


def _left_out(analysis: Analysis, following: Following) -> list[str]:
    lines = []
    if following.missed:
        lines.append("Missed: " + "; ".join(_named(note) for note in following.missed))
    events = {event.id: event for event in analysis.measurement.events}
    for row in following.events:
        if row.state == "wrong" and row.note is not None:
            at = place(events[row.event].start_s)
            note = following.notes[row.note]
            lines.append(f"Wrong: {_named(note)}: {_pretty(row.heard)} was heard at {at}")
    away = following.in_state("not_reached")
    if away:
        lines.append(f"Not played: {len(away)} of {len(following.notes)} notes")
    return lines


def _named(note: FollowedNote) -> str:
    bar = "" if note.bar is None else f"bar {note.bar}, "
    return f"{bar}{_pretty(note.pitches)}"


def _pretty(names: tuple[str, ...]) -> str:
    return " ".join(Pitch.parse(name).pretty for name in names)
