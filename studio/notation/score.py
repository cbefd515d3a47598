"""A drill as a score: what is written, note by note, on which strings and with which fingers.

Conventions
-----------
* A :class:`Written` is one thing to play: a single note, a double stop or a chord. Its pitches
  run from low to high, and ``strings`` and ``fingers`` are aligned with them.
* Strings are numbered as players do, 1 the highest. A finger is 0 (open string) to 4.
* There is no rhythm to keep: ``beats`` is how long the note is *written* (in quarter notes), so
  that a page reads well. How long it is to be held is ``hold_s``.
* A bar holds what belongs together, usually one double stop separately, then together.
* What is *slurred* is in one bow with what is written next; what is *tied* sounds on from before.
* An ``id`` names one written thing in its score for good: it is the id of the note in MusicXML
  and in the engraved page (where a double stop's notes are ``n3-0`` and ``n3-1``), and what a
  mark, a comment or a measured figure points at.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from fractions import Fraction
from itertools import groupby
from typing import Any

from studio.figures.translation import _
from studio.theory import INSTRUMENTS, Instrument, Key, Pitch, instrument_named

MAX_WRITTEN = 4000  # a book, not a drill, lies beyond
MAX_VOICES = 4
HOLD_S_BOUNDS = (0.2, 60.0)
FINGERS = range(0, 5)
MANNERS = ("alone", "separate", "together")
BOWS = ("down", "up")
MAX_WORDS_CHARS = 120
SIGNS = {  # what each kind of accidental makes of a note, in semitones
    "flat-flat": -2,
    "flat": -1,
    "natural-flat": -1,
    "natural": 0,
    "sharp": 1,
    "natural-sharp": 1,
    "double-sharp": 2,
    "sharp-sharp": 2,
}
SIGN_MARKS = ("cautionary", "editorial", "parentheses", "bracket")
_ALIGNED = {"strings": None, "fingers": None, "accidentals": None, "tied": False}
# Left out of what is stored where nothing is said of it, so that older pages stay as they are.
_SELDOM = {
    **{"slurred": False, "bow": None, "guide": False, "words": "", "leads_to": ()},
    **{"rest_before": Fraction(0), "tempo": None, "held": False},
}
_ID = re.compile(r"[A-Za-z_][A-Za-z0-9_.-]{0,63}")


def is_id(text: str) -> bool:
    """Whether something written can have it as its id."""
    return _ID.fullmatch(text) is not None


def note_ids(name: str, voices: int) -> tuple[str, ...]:
    """The ids of the notes of what is written under ``name``, from low to high."""
    return (name,) if voices == 1 else tuple(f"{name}-{place}" for place in range(voices))


class NotAScore(ValueError):
    """Something written is outside what a score can hold; says the value, bound and remedy."""


@dataclass(frozen=True, slots=True)
class Accidental:
    """A sign printed before a note.

    Parameters
    ----------
    kind : one of ``SIGNS``, in MusicXML's words
    marks : of ``SIGN_MARKS``, what is particular about it, in that order

    Raises
    ------
    NotAScore
        For a kind or a mark that is not known.
    """

    kind: str
    marks: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if self.kind not in SIGNS:
            raise NotAScore(
                _("the sign %(kind)s is not known; write %(signs)s")
                % {"kind": f"{self.kind!r}", "signs": ", ".join(SIGNS)}
            )
        if [mark for mark in SIGN_MARKS if mark in self.marks] != list(self.marks):
            raise NotAScore(
                _("a sign's marks %(marks)s are of %(sign_marks)s")
                % {"marks": self.marks, "sign_marks": ", ".join(SIGN_MARKS)}
            )

    @property
    def alter(self) -> int:
        """What it makes of the note, in semitones."""
        return SIGNS[self.kind]

    @classmethod
    def parse(cls, text: str) -> "Accidental":
        """The sign of its words: ``natural cautionary``."""
        kind, *marks = text.split() or [""]
        return cls(kind, tuple(marks))

    def __str__(self) -> str:
        return " ".join((self.kind, *self.marks))


@dataclass(frozen=True, slots=True, kw_only=True)
class Written:
    """One thing to play.

    Parameters
    ----------
    id : unique in its score; a letter or ``_``, then letters, digits, ``_ . -``, at most 64
    pitches : spelled, from low to high, 1 to 4
    bar : the number that the page has for it, never falling; 0 is a pickup
    strings : the player's string numbers, aligned with ``pitches``; ``None`` where left open
    fingers : 0 to 4, likewise
    beats : written length in quarter notes
    manner : ``separate`` for one note of a double stop that follows, ``together`` for the double
        stop itself, ``alone`` for a note that belongs to none
    playings : how often it is to be played, 1 or more
    hold_s : least time to hold it, in seconds; ``None`` where the drill does not say
    shift : whether the hand moves along the string to reach it
    position : position of the left hand (1 first position), ``None`` where left open
    accidentals : signs that the page itself has before its notes, aligned with ``pitches``; what
        else is needed is added where it is printed (:mod:`studio.notation.accidentals`)
    slurred : whether the bow goes on to what is written next without a change
    bow : ``down`` or ``up``, where the page says so
    tied : for each of ``pitches``, whether it sounds on from what is written before it
    guide : whether it is a guide note, written small: the finger that leads a shift, at its goal
    words : said over the staff where it begins, at most 120 characters
    leads_to : ids of what else may come next, besides what is written next: where a repeat begins,
        or another ending
    rest_before : silence before it on the page, in quarter notes, 0 or more
    tempo : what the page says of the tempo from its bar on: ``new``, ``free`` or ``as_before``
    held : whether it may be held at will: a fermata

    Raises
    ------
    NotAScore
        Naming the value and the bound.
    """

    id: str
    pitches: tuple[Pitch, ...]
    bar: int
    strings: tuple[int | None, ...] = ()
    fingers: tuple[int | None, ...] = ()
    beats: Fraction = Fraction(2)
    manner: str = "together"
    playings: int = 1
    hold_s: float | None = None
    shift: bool = False
    position: int | None = None
    accidentals: tuple[Accidental | None, ...] = ()
    slurred: bool = False
    bow: str | None = None
    tied: tuple[bool, ...] = ()
    guide: bool = False
    words: str = ""
    leads_to: tuple[str, ...] = ()
    rest_before: Fraction = Fraction(0)
    tempo: str | None = None
    held: bool = False

    def __post_init__(self) -> None:
        if not is_id(self.id):
            raise NotAScore(
                _("%(id)s cannot be a note's id; use letters and digits: n12")
                % {"id": f"{self.id!r}"}
            )
        count = len(self.pitches)
        if not 1 <= count <= MAX_VOICES:
            raise NotAScore(
                _("%(id)s has %(count)s pitches; write 1 to %(max_voices)s")
                % {"id": self.id, "count": count, "max_voices": MAX_VOICES}
            )
        if [pitch.midi for pitch in self.pitches] != sorted(pitch.midi for pitch in self.pitches):
            names = ", ".join(map(str, self.pitches))
            raise NotAScore(
                _("pitches %(names)s of %(id)s must run from low to high")
                % {"names": names, "id": self.id}
            )
        for name in _ALIGNED:
            values = getattr(self, name) or (_ALIGNED[name],) * count
            object.__setattr__(self, name, tuple(values))
            if len(values) != count:
                raise NotAScore(f"{self.id} has {len(values)} {name} for {count} pitches")
        self._require_ranges()
        for pitch, sign in zip(self.pitches, self.accidentals, strict=True):
            if sign is not None and sign.alter != pitch.alter:
                raise NotAScore(
                    _("%(id)s: a %(kind)s cannot stand before %(pitch)s")
                    % {"id": self.id, "kind": sign.kind, "pitch": pitch}
                )

    def _require_ranges(self) -> None:
        if self.bar < 0 or self.playings < 1 or self.beats <= 0:
            raise NotAScore(
                _("%(id)s: bars start at 0, a pickup; playings and beats above it")
                % {"id": self.id}
            )
        if self.manner not in MANNERS:
            raise NotAScore(f"{self.id}: manner {self.manner!r}; write {', '.join(MANNERS)}")
        if any(finger is not None and finger not in FINGERS for finger in self.fingers):
            raise NotAScore(
                _("%(id)s: fingers %(fingers)s go from 0 (open) to 4")
                % {"id": self.id, "fingers": self.fingers}
            )
        if any(string is not None and not 1 <= string <= 4 for string in self.strings):
            raise NotAScore(
                _("%(id)s: strings %(strings)s go from 1 (highest) to 4")
                % {"id": self.id, "strings": self.strings}
            )
        if self.bow is not None and self.bow not in BOWS:
            raise NotAScore(f"{self.id}: bow {self.bow!r}; write {', '.join(BOWS)}")
        if len(self.words) > MAX_WORDS_CHARS:
            raise NotAScore(
                _("%(id)s: %(self)s characters said; at most %(max_words_chars)s")
                % {"id": self.id, "self": len(self.words), "max_words_chars": MAX_WORDS_CHARS}
            )
        low, high = HOLD_S_BOUNDS
        if self.hold_s is not None and not low <= self.hold_s <= high:
            raise NotAScore(
                _("%(id)s: a hold of %(hold_s)s s is outside %(low)s to %(high)s")
                % {"id": self.id, "hold_s": self.hold_s, "low": f"{low:g}", "high": f"{high:g}"}
            )

    @property
    def midi(self) -> tuple[int, ...]:
        """MIDI numbers from low to high."""
        return tuple(pitch.midi for pitch in self.pitches)

    @property
    def note_ids(self) -> tuple[str, ...]:
        """The ids of its notes on the page, from low to high."""
        return note_ids(self.id, len(self.pitches))


@dataclass(frozen=True, slots=True, kw_only=True)
class Score:
    """A drill on the page.

    Parameters
    ----------
    title : what stands above the page
    instrument : violin or viola
    key : key name such as ``Bb major``; ``None`` for no signature
    written : in the order in which it stands on the page
    page : of a score from elsewhere, the page as it came (:mod:`studio.notation.musicxml.page`);
        empty for one whose page is made of what is written
    large : whether it is set out large, for who has just begun
    timed : whether its page says how long everything lasts, silences too, and what it says of
        tempo was read: pages read from elsewhere do

    Raises
    ------
    NotAScore
        For ids that occur twice, bars that fall, or more than 4,000 things written.
    """

    title: str
    instrument: str
    written: tuple[Written, ...]
    key: str | None = None
    page: str = ""
    large: bool = False
    timed: bool = False

    def __post_init__(self) -> None:
        instrument_named(self.instrument)
        if self.key is not None:
            object.__setattr__(self, "key", str(Key.parse(self.key)))
        if not 1 <= len(self.written) <= MAX_WRITTEN:
            raise NotAScore(
                _("%(written)s notes written; a drill has 1 to %(max_written)s")
                % {"written": len(self.written), "max_written": MAX_WRITTEN}
            )
        ids = [item.id for item in self.written]
        if len(set(ids)) != len(ids):
            twice = next(name for name in ids if ids.count(name) > 1)
            raise NotAScore(
                _("the id %(twice)s stands twice; give each note its own") % {"twice": twice}
            )
        bars = [item.bar for item in self.written]
        if bars != sorted(bars):
            raise NotAScore(_("the bars fall; write them in the order they are played"))

    @property
    def player(self) -> Instrument:
        """The instrument, with its open strings."""
        return INSTRUMENTS[self.instrument]

    @property
    def spelled_key(self) -> Key | None:
        """The key, where there is one."""
        return Key.parse(self.key) if self.key else None

    @property
    def bars(self) -> tuple[tuple[Written, ...], ...]:
        """What is written, bar by bar."""
        return tuple(tuple(bar) for _rest, bar in groupby(self.written, lambda item: item.bar))

    def find(self, ref: str) -> Written | None:
        """What a note's id belongs to (``n3``, ``n3-1``), or ``None``."""
        for item in self.written:
            if ref == item.id or ref in item.note_ids:
                return item
        return None

    def with_written(self, written: Sequence[Written]) -> "Score":
        """The same score with other notes."""
        return replace(self, written=tuple(written))

    def to_dict(self) -> dict[str, Any]:
        """Plain values for JSON."""
        return {
            "title": self.title,
            "instrument": self.instrument,
            "key": self.key,
            "written": [_plain(item) for item in self.written],
            **({"page": self.page} if self.page else {}),
            **({"large": True} if self.large else {}),
            **({"timed": True} if self.timed else {}),
        }

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> "Score":
        """A stored score; what is unknown is left out, what is missing gets its default."""
        return cls(
            title=data["title"],
            instrument=data["instrument"],
            key=data.get("key"),
            page=data.get("page", ""),
            large=data.get("large", False),
            timed=data.get("timed", False),
            written=tuple(_written(item) for item in data["written"]),
        )


def _plain(item: Written) -> dict[str, Any]:
    plain = asdict(item)
    plain["pitches"] = [str(pitch) for pitch in item.pitches]
    plain["strings"], plain["fingers"] = list(item.strings), list(item.fingers)
    plain["accidentals"] = [str(sign) if sign else None for sign in item.accidentals]
    if not any(item.accidentals):
        del plain["accidentals"]
    plain["tied"] = list(item.tied)
    if not any(item.tied):
        del plain["tied"]
    for name, usual in _SELDOM.items():
        if plain[name] == usual:
            del plain[name]
    for name in ("beats", "rest_before"):
        if name in plain:
            plain[name] = str(plain[name])
    return plain


def _written(data: Mapping[str, Any]) -> Written:
    known = {name: data[name] for name in Written.__dataclass_fields__ if name in data}
    known["pitches"] = tuple(Pitch.parse(name) for name in data["pitches"])
    for name in ("strings", "fingers", "tied", "leads_to"):
        known[name] = tuple(known.get(name, ()))
    known["accidentals"] = tuple(
        Accidental.parse(text) if text else None for text in data.get("accidentals", ())
    )
    for name in ("beats", "rest_before"):
        if name in known:
            known[name] = Fraction(known[name])
    return Written(**known)
