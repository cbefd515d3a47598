"""MusicXML to a score: what sounds together, in the order it is written.

What each note says, and when it sounds: :mod:`studio.notation.musicxml.timed_notes`. At every
moment where a note begins, what is written is all that then sounds: a held note against a moving
one gives a double stop for each of them. Bars have the numbers that the page has. A page from
elsewhere is kept beside it as it came (:mod:`studio.notation.musicxml.page`), with its metre, rests
and everything else that is looked at. The signs that the file prints before its notes are kept
where the note begins.
"""

from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from xml.etree.ElementTree import Element

from studio import figures
from studio.figures.translation import _
from studio.notation.accidentals import without_usual
from studio.notation.musicxml import page as pages
from studio.notation.musicxml.bars import bar_numbers, playing_order
from studio.notation.musicxml.lengths import make_plain
from studio.notation.musicxml.moments import Moment, moments_of, with_tempo
from studio.notation.musicxml.opening import NotMusic
from studio.notation.musicxml.other_forms import open_music
from studio.notation.musicxml.parts import Part, only_part, parts_of
from studio.notation.musicxml.tempo import held_at_will, tempo_said
from studio.notation.musicxml.timed_notes import TimedNote, details, seat, small_number, timed
from studio.notation.musicxml.transposing import as_sounding
from studio.notation.musicxml.unfollowed import Unfollowed, where, without_unfollowed
from studio.notation.score import (
    MANNERS,
    MAX_VOICES,
    MAX_WORDS_CHARS,
    Accidental,
    Score,
    Written,
    is_id,
    note_ids,
)
from studio.theory import INSTRUMENTS, Key
from studio.theory.doublestops import is_playable
from studio.theory.instruments import MAX_STOP_SEMITONES

MAX_IN_BAR = 128
MAX_TITLE_CHARS = 120


@dataclass(frozen=True, slots=True)
class Read:
    """A score that was read, what is worth saying about it (sentences), the parts there are."""

    score: Score
    remarks: tuple[str, ...] = ()
    parts: tuple[Part, ...] = ()
    part: str = ""  # the id of the one that was read


def read_musicxml(
    data: bytes, *, instrument: str | None = None, title: str = "", part: str | None = None
) -> Read:
    """The score of an uploaded file.

    Parameters
    ----------
    data : bytes of a ``.musicxml``, ``.xml`` or ``.mxl`` file, of MEI or of MIDI
    instrument : violin or viola; told from the part's name when ``None``, else violin
    title : used where the file has none
    part : id of the part to read; the first for the instrument when ``None``

    Returns
    -------
    Read

    Raises
    ------
    NotMusic
        With a sentence for the person who chose the file.
    """
    root, said_of_form = open_music(data)
    parts = parts_of(root)
    element = only_part(root, part, instrument)
    numbers, _rest = bar_numbers(element)
    player, name = instrument or _instrument(root), _title(root, title)
    moved = as_sounding(element)
    page = None if _is_ours(root) else pages.kept_page(element, name, player.capitalize())
    seat(element)
    order = playing_order(element)
    left = Unfollowed() if page is None else without_unfollowed(element, numbers)
    tempo, at_will = tempo_said(element), held_at_will(element)  # before its words are taken out
    sounding = timed(root, details(element), make_plain(element), numbers)
    impossible = _without_impossible_strings(sounding, player)
    try:
        moments, crowded = moments_of(sounding)
        written = _with_ids(moments, order)
        if page is not None:
            written = with_tempo(written, moments, tempo, at_will)
        score = without_usual(
            Score(
                title=name,
                instrument=player,
                key=_key(element),
                written=tuple(written),
                large=_is_ours(root) and root.find("defaults/scaling") is not None,
                timed=page is not None and not said_of_form,  # else words of tempo are lost
            )
        )
    except ValueError as error:
        raise NotMusic(_("The page cannot be a drill: %(error)s.") % {"error": error}) from None
    if page is not None:
        score = replace(score, page=_page_text(page, element, moments, score))
    said = (
        *said_of_form,
        *_remarks(score, moved, crowded, bar_numbers(element)[1]),
        *left.remarks(),
        *impossible,
    )
    return Read(score, said, parts, element.get("id", ""))


def _is_ours(root: Element) -> bool:
    """Whether this program made the page from what is written: then it will again."""
    return any(said.text == "studio" for said in root.iterfind("identification/encoding/software"))


def _page_text(page: Element, part: Element, moments: Sequence[Moment], score: Score) -> str:
    """The page with its bars numbered, the ids of what is written, and every sign it needs."""
    pages.numbered(page, *bar_numbers(part))
    ids = {
        note.noted.seat: name
        for moment, item in zip(moments, score.written, strict=True)
        for note, name in zip(moment.notes, item.note_ids, strict=True)
        if note in moment.begins
    }
    pages.with_ids(page, ids)
    pages.with_needed_signs(page)
    return pages.as_text(page)


def _title(root: Element, otherwise: str) -> str:
    """The title in one line; what is between words, whatever it was, is a space."""
    said = root.findtext("work/work-title") or root.findtext("movement-title") or otherwise
    return " ".join(said.split())[:MAX_TITLE_CHARS].strip()


def _without_impossible_strings(sounding: list[TimedNote], instrument: str) -> list[str]:
    """Leave out strings on which their notes are not; what is to be said of them."""
    strings = INSTRUMENTS[instrument].open_strings
    found = []
    for note in sounding:
        if note.noted.string is None:
            continue
        string = strings[len(strings) - note.noted.string]
        if not 0 <= note.pitch.midi - string.midi <= MAX_STOP_SEMITONES:
            found.append(
                _("%(pitch)s is not on the %(step)s string")
                % {"pitch": note.pitch, "step": string.step}
            )
            note.noted.string = None
    if not found:
        return []
    return [
        _("%(found)s of the %(instrument)s: such strings are left out (%(found_2)s in all).")
        % {"found": found[0], "instrument": instrument, "found_2": len(found)}
    ]


def _with_ids(moments: list[Moment], order: Sequence[int]) -> list[Written]:
    """Our own ids where the file has them, else counted ones."""
    own = [_own_id(moment) for moment in moments]
    usable = _usable(own, moments)
    bar, written = 0, list[Written]()
    _require_short_bars(moments)
    for number, (moment, name) in enumerate(zip(moments, own, strict=True), 1):
        bar = max(bar, moment.bar)
        written.append(_as_written(moment, (name if usable else None) or f"n{number}", bar))
    return _with_jumps(_with_slurs(written, moments), moments, order)


def _with_jumps(
    written: list[Written], moments: list[Moment], order: Sequence[int]
) -> list[Written]:
    """Where repeats and endings lead from one thing to another than what is written next."""
    of_measure: dict[int, list[int]] = defaultdict(list)
    for place, moment in enumerate(moments):
        of_measure[moment.measure].append(place)
    played = [place for measure in order for place in of_measure[measure]]
    jumps: dict[int, list[str]] = defaultdict(list)
    for here, there in pairwise(played):
        if there != here + 1 and written[there].id not in jumps[here]:
            jumps[here].append(written[there].id)
    return [
        replace(item, leads_to=tuple(jumps[place])) if jumps[place] else item
        for place, item in enumerate(written)
    ]


def _with_slurs(written: list[Written], moments: list[Moment]) -> list[Written]:
    """What is under a slur that goes on is slurred to what is next; the last thing never is."""
    inside: set[str] = set()
    found = []
    for item, moment in zip(written, moments, strict=True):
        said = [slur for note in moment.begins for slur in note.noted.slurs]
        inside -= {number for kind, number in said if kind == "stop"}
        inside |= {number for kind, number in said if kind == "start"}
        found.append(replace(item, slurred=bool(inside)))
    found[-1] = replace(found[-1], slurred=False)
    return found


def _usable(own: list[str | None], moments: list[Moment]) -> bool:
    """Whether the file's ids can be the drill's, and no two notes would have the same."""
    if not all(name and is_id(name) for name in own):
        return False
    ids = [
        each
        for name, moment in zip(own, moments, strict=True)
        for each in note_ids(name or "", len(moment.notes))
    ]
    return len({*ids, *own}) == len(ids) + sum(len(moment.notes) > 1 for moment in moments)


def _require_short_bars(moments: list[Moment]) -> None:
    """A page is cut at bar lines; a bar that is longer than one would be drawn all at once."""
    in_bar = Counter(moment.bar for moment in moments)
    bar, count = max(in_bar.items(), key=lambda each: each[1])
    if count > MAX_IN_BAR:
        raise ValueError(
            f"bar {bar} has {count} notes one after another, and at most {MAX_IN_BAR} can be drawn "
            "in one bar; add bar lines"
        )


def _own_id(moment: Moment) -> str | None:
    """The id of a thing written by this program: ``n3`` of ``n3-0`` and ``n3-1``."""
    names = [note.noted.id or "" for note in moment.notes]
    if len(names) == 1:
        return names[0] or None
    base = names[0].rpartition("-")[0]
    ours = [f"{base}-{place}" for place in range(len(names))]
    return base if base and names == ours else None


def _as_written(moment: Moment, name: str, bar: int) -> Written:
    play = {key: value for note in moment.begins for key, value in note.noted.play.items()}
    usual = "together" if len(moment.notes) > 1 else "alone"
    manner = play.get("manner", usual)
    return Written(
        id=name,
        pitches=tuple(note.pitch for note in moment.notes),
        bar=bar,
        strings=tuple(note.noted.string for note in moment.notes),
        fingers=tuple(note.noted.finger for note in moment.notes),
        beats=moment.beats,
        manner=manner if manner in MANNERS else usual,
        playings=small_number(play.get("playings"), range(1, 100)) or 1,
        hold_s=_seconds(play.get("hold-seconds")),
        shift=play.get("shift") == "yes",
        position=small_number(play.get("position"), range(0, 20)),
        bow=next((note.noted.bow for note in moment.begins if note.noted.bow), None),
        tied=tuple(note.is_tied for note in moment.notes),
        guide=play.get("guide") == "yes",
        words=play.get("words", "")[:MAX_WORDS_CHARS],
        accidentals=tuple(_shown(note) if note in moment.begins else None for note in moment.notes),
    )


def _shown(note: TimedNote) -> Accidental | None:
    """The sign before a note, where it says what the pitch is."""
    sign = note.noted.accidental
    return sign if sign and sign.alter == note.pitch.alter else None


def _seconds(text: str | None) -> float | None:
    try:
        return float(text) if text else None
    except ValueError:
        return None


def _key(part: Element) -> str | None:
    """The first key signature, as a key; major where the file does not say."""
    fifths = figures.whole((part.findtext(".//key/fifths") or "").strip(), low=-7, high=7)
    if fifths is None:
        return None
    mode = part.findtext(".//key/mode")
    if mode is None:
        return None if fifths == 0 else str(_key_of(fifths, "major"))
    return str(_key_of(fifths, "minor" if mode == "minor" else "major"))


def _key_of(fifths: int, mode: str) -> Key:
    name = "FCGDAEB"
    place = fifths + (3 if mode == "minor" else 0) + 1
    alter, letter = divmod(place, 7)
    return Key(name[letter] + ("#" * alter if alter > 0 else "b" * -alter), mode)


def _instrument(root: Element) -> str:
    names = " ".join(text for text in root.itertext() if text and len(text) < 60).lower()
    listed = root.findtext("part-list/score-part/part-name", "").lower()
    return "viola" if "viola" in (listed or names) else "violin"


def _remarks(
    score: Score, moved: bool, crowded: Sequence[int], own_numbers: bool
) -> tuple[str, ...]:
    """What the person who sent the page may want to know."""
    player, found = score.player, []
    lowest = player.open_strings[0]
    below = [str(p) for item in score.written for p in item.pitches if p.midi < lowest.midi]
    if below:
        found.append(
            _(
                "%(below)s lies below the %(instrument)s's lowest string, %(lowest)s. Was "
                "the page written for another instrument?"
            )
            % {"below": below[0], "instrument": score.instrument, "lowest": lowest}
        )
    if moved:
        found.append(_("The part is for a transposing instrument. It stands here as it sounds."))
    if not own_numbers:
        found.append(_("The file's bar numbers begin anew; the bars are counted through here."))
    if crowded:
        found.append(
            _("More than %(max_voices)s notes at once (%(crowded)s) are not followed.")
            % {"max_voices": MAX_VOICES, "crowded": where(crowded)}
        )
    beyond = {
        item.bar: f"{low} with {high}"
        for item in reversed(score.written)
        for low, high in pairwise(item.pitches)
        if not is_playable(low.midi, high.midi, player.open_strings)
    }
    if beyond:
        first = beyond[min(beyond)]
        found.append(
            _(
                "No hand holds %(first)s on neighbouring strings of the %(instrument)s; "
                "such double stops (%(beyond)s) can only be played one note after the "
                "other."
            )
            % {"first": first, "instrument": score.instrument, "beyond": where(beyond)}
        )
    return tuple(found)
