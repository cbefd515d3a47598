"""Runs: the same double stop played again and again, with its broken notes.

A pupil plays the two notes separately, then together, then together as often as it takes. All of
that is one run, however many playings it has. It ends when something else is played.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

from studio.intonation.model.measurement import Event
from studio.intonation.model.score_following import ExpectedNote
from studio.theory import OCTAVE_CENTS, SEMITONE_CENTS, Pitch, in_cents, is_playable

# Chosen:
SAME_NOTE_CENTS = 70.0  # a voice of the next playing may be this far from the last one's
SAME_HAND_CENTS = 50.0  # the voices' mean: beyond it the whole hand went to other notes
TENTH_SEMITONES = 16  # wider pairs are rare: they need an open string
PASSING_S = 0.15  # two notes together that are shorter interrupt nothing,
BEGUN_S = 0.3  # nor does one note that is: it was begun and broken off
# A shorter octave relative of an octave's own notes is taken for its ringing, or for a slip of
# the ear: octaves are the hardest to tell apart.
GHOST_S = 0.7
# A short note on a partial of the run's own notes is taken for one of them, misheard.
PARTIALS_CENTS = tuple(in_cents(k) for k in (3, 5, 6))  # the octaves stand by themselves
ON_PARTIAL_CENTS = 35.0  # from that partial
DOUBTFUL_CONFIDENCE = 0.5  # below it, the notes are as likely others
A4_CENTS = 69 * SEMITONE_CENTS  # A4 above MIDI number 0, by definition
OCTAVE_DOUBT = "octave_or_single"


@dataclass(slots=True)
class Played:
    """An event and its voices as cents above MIDI 0 at the clip's reference.

    ``readings`` are other readings of a doubtful one; ``unlikely`` says that no hand holds it.
    """

    event: Event
    cents: tuple[float, ...]
    readings: tuple[tuple[float, ...], ...] = ()
    unlikely: bool = False


@dataclass(slots=True)
class RunOfPlayings:
    """The playings of one run, and its broken notes, each in time.

    ``expected`` is the written note it is a run of; ``wrong`` says that it was played in the place
    of another one.
    """

    playings: list[Played] = field(default_factory=list)
    broken: list[Played] = field(default_factory=list)
    expected: ExpectedNote | None = None
    wrong: bool = False

    @property
    def size_apart_cents(self) -> float | None:
        """From the last low to the last high broken note; ``None`` without both, or for chords."""
        if not self.broken or len(self.playings[0].cents) != 2:
            return None
        low, high = self.playings[0].cents
        middle = (low + high) / 2.0
        lower = upper = None
        for note in self.broken:
            if note.cents[0] < middle:
                lower = note.cents[0]
            else:
                upper = note.cents[0]
        return None if lower is None or upper is None else upper - lower


def cents_of(f0_hz: float, a4_hz: float) -> float:
    """Cents above MIDI number 0 at a reference."""
    return A4_CENTS + in_cents(f0_hz / a4_hz)


def played(event: Event, a4_hz: float, strings: tuple[Pitch, ...]) -> Played:
    """An event with its voices, and those of its other readings if in doubt, in cents."""
    cents = tuple([cents_of(voice.f0_hz, a4_hz) for voice in event.voices])
    readings: tuple[tuple[float, ...], ...] = ()
    if event.doubt == OCTAVE_DOUBT:
        readings = tuple(
            tuple(cents_of(f0_hz, a4_hz) for f0_hz in other.f0_hz) for other in event.alternatives
        )
    unlikely = event.kind == "double_stop" and is_unlikely(
        event.voices[0].midi, event.voices[-1].midi, strings
    )
    return Played(event, cents, readings, unlikely)


def is_unlikely(low_midi: int, high_midi: int, strings: tuple[Pitch, ...]) -> bool:
    """Wider than a tenth and out of a hand's reach: more likely a note ringing under another."""
    if high_midi - low_midi <= TENTH_SEMITONES:
        return False
    return not is_playable(low_midi, high_midi, strings)


def same_notes(a: Sequence[float], b: Sequence[float]) -> bool:
    """Whether two readings are the same notes under the same hand."""
    if len(a) != len(b):
        return False
    hand = 0.0
    for x, y in zip(a, b, strict=True):
        move = y - x
        if abs(move) > SAME_NOTE_CENTS:
            return False
        hand += move
    return abs(hand) <= SAME_HAND_CENTS * len(a)


def _is_note_of(item: Played, run: Played) -> bool:
    if len(item.cents) != 1:
        return False
    cents = item.cents[0]
    return any(abs(cents - note) <= SAME_NOTE_CENTS for note in run.cents)


def _on_partial(cents: float, note: float) -> bool:
    return any(abs(cents - note - above) <= ON_PARTIAL_CENTS for above in PARTIALS_CENTS)


def _interrupts_nothing(item: Played, run: Played) -> bool:
    """Short, doubtful, out of reach, octaves of the run's notes, or the run and a ringing note."""
    event = item.event
    alone = len(item.cents) == 1
    passing = event.end_s - event.start_s < (BEGUN_S if alone else PASSING_S)
    if passing or event.confidence < DOUBTFUL_CONFIDENCE or item.unlikely:
        return True

    def near(note: float, other: float) -> bool:
        folded = (note - other + OCTAVE_CENTS / 2) % OCTAVE_CENTS - OCTAVE_CENTS / 2
        return abs(folded) <= SAME_NOTE_CENTS

    if alone:
        short = event.end_s - event.start_s < GHOST_S
        return any(near(item.cents[0], note) for note in run.cents) or (
            short and any(_on_partial(item.cents[0], note) for note in run.cents)
        )
    if near(run.cents[0], run.cents[-1]) and event.end_s - event.start_s < GHOST_S:
        return all(near(note, run.cents[0]) for note in item.cents)
    return len(item.cents) > len(run.cents) and all(
        any(abs(note - other) <= SAME_NOTE_CENTS for other in item.cents) for note in run.cents
    )


def _as_playing(item: Played, last: Played | None) -> Played | None:
    """The item as a playing: two or more notes, or a doubtful one that reads as the last."""
    if last is not None and item.event.doubt == OCTAVE_DOUBT:
        for reading in item.readings:
            if same_notes(last.cents, reading):
                return Played(item.event, reading, (item.cents,))
    return item if len(item.cents) > 1 else None


def find_runs(items: Sequence[Played]) -> list[RunOfPlayings]:
    """Group events into runs, in time.

    Single notes between two playings of the same double stop that are not its notes end the run.
    Broken notes before the first playing belong to it; a note that fits both the run before and
    the one after goes to the one after (separately first, then together).
    """
    runs: list[RunOfPlayings] = []
    waiting: list[Played] = []  # notes since the last playing
    for item in items:
        last = runs[-1].playings[-1] if runs else None
        playing = _as_playing(item, last)
        if playing is None:
            waiting.append(item)
            continue
        if last is not None and same_notes(last.cents, playing.cents):
            if all(_is_note_of(n, last) or _interrupts_nothing(n, last) for n in waiting):
                runs[-1].broken.extend(n for n in waiting if _is_note_of(n, last))
                runs[-1].playings.append(playing)
                waiting = []
                continue
        elif last is not None and _interrupts_nothing(playing, last):
            waiting.append(playing)
            continue
        new = RunOfPlayings([playing])
        _share(waiting, runs[-1] if runs else None, new)
        runs.append(new)
        waiting = []
    _share(waiting, runs[-1] if runs else None, None)
    return runs


def _share(notes: list[Played], before: RunOfPlayings | None, after: RunOfPlayings | None) -> None:
    """Give the single notes between two runs to the one they belong to, or to neither."""
    rest = list(notes)
    if after is not None:
        first = after.playings[0]
        while rest and _is_note_of(rest[-1], first):
            after.broken.insert(0, rest.pop())
    if before is not None:
        last = before.playings[-1]
        for note in rest:
            if not _is_note_of(note, last):
                break
            before.broken.append(note)
