"""Music in other open forms, as MusicXML: MEI, and MIDI files.

MEI: Music Encoding Initiative, https://music-encoding.org. MIDI: Standard MIDI Files 1.0, MIDI
Association (1996). Both are read by partitura, which keeps notes, rhythm, metre and key. What an
MEI page says besides is lost; a MIDI file has no page at all: notes are put on a grid and spelled
by the ps13 algorithm (D. Meredith, Journal of New Music Research 35 (2006), 121-159).
"""

import contextlib
import io
import tempfile
import warnings
from collections.abc import Callable
from pathlib import Path
from typing import Any
from xml.etree.ElementTree import Element, tostring

from studio.figures import megabytes
from studio.figures.translation import N_, _
from studio.notation.musicxml.opening import (
    MAX_NOTES,
    MEI,
    MIDI_HEAD,
    NotMusic,
    open_musicxml,
    parsed,
    partwise,
    survey,
)

MAX_MIDI_BYTES = 500_000  # every byte may be a note; a page has some thousand
GRID = 24  # of a quarter note: sixteenths, triplets of them, and whatever is longer
COARSE_GRID = 4  # for what was played and not written
NEAR = 0.005  # of a quarter note; what is written lies on the grid, but for rounding

_SYMBOLS = {"sym", "meter.sym"}

FROM_MEI = N_(
    "Read from MEI: notes, rhythm, metre and key are kept. Fingers, bowings, slurs and words are "
    "not; a MusicXML file keeps them."
)
FROM_MIDI = N_(
    "Read from MIDI, which has no page: how notes are spelled is a guess, and there are neither "
    "fingers nor bowings. A MusicXML file keeps them."
)
ROUNDED = N_(
    "The file was played and not written: its notes are put on the nearest sixteenth. Look at the "
    "rhythm."
)
UNREADABLE = N_("The file cannot be read ({form}). Export the page as MusicXML, then send that.")


def open_music(data: bytes) -> tuple[Element, list[str]]:
    """The MusicXML of a file in any form that is read here, and what is to be said of the form.

    Parameters
    ----------
    data : bytes of a MusicXML, MEI or MIDI file

    Returns
    -------
    root, remarks
        ``score-partwise``; no remarks for what was MusicXML.

    Raises
    ------
    NotMusic
        With a sentence for the person who chose the file.
    """
    if data.startswith(MIDI_HEAD):
        written, said = _from_midi(data)
    else:
        text, root = survey(data)
        if root != MEI:
            return partwise(text, root), []
        written, said = _from_mei(text)
    return open_musicxml(written), said


def _from_mei(data: bytes) -> tuple[bytes, list[str]]:
    from partitura import load_mei

    def load() -> Any:
        with tempfile.NamedTemporaryFile(suffix=".mei") as file:  # it opens files alone
            Path(file.name).write_bytes(_simplified(data))
            return load_mei(file.name, quiet=True)

    return _written(load, "MEI"), [_(FROM_MEI)]


def _simplified(data: bytes) -> bytes:
    """Without what the reader stumbles over.

    It asks of each group of staves by what sign it is joined, takes lengths in parts of a quarter
    note to be the same in all staves, knows no empty bars without a rest, no metre by a sign alone
    and no tremolos.
    """
    root = parsed(data)
    namespace = root.tag.partition("}")[0].lstrip("{")
    for element in root.iter():
        element.tag = element.tag.rpartition("}")[2].replace("mSpace", "mRest")
        for name in ("ppq", "dur.ppq", "stem.mod"):
            element.attrib.pop(name, None)
        if element.tag == "staffGrp":
            element.attrib.setdefault("symbol", "line")
        for symbol in _SYMBOLS.intersection(element.attrib):
            if element.tag != "staffGrp":
                _in_figures(element, symbol)
    for parent in list(root.iter()):
        for place, child in reversed(list(enumerate(parent))):
            if child.tag == "bTrem":
                parent[place : place + 1] = list(child)
    root.set("xmlns", namespace)
    return tostring(root)


def _in_figures(element: Element, symbol: str) -> None:
    """A metre that is said by a sign, C or cut C, in figures."""
    beats = {"common": "4", "cut": "2"}.get(element.attrib.pop(symbol))
    if beats is not None:
        prefix = symbol.removesuffix("sym")
        element.attrib.setdefault(f"{prefix}count", beats)
        element.attrib.setdefault(f"{prefix}unit", beats)


def _from_midi(data: bytes) -> tuple[bytes, list[str]]:
    from partitura import load_score_midi

    if len(data) > MAX_MIDI_BYTES:
        raise NotMusic(
            _("The file has %(size)s. Export only the page you need.")
            % {"size": megabytes(len(data))}
        )
    file = _midi(data)
    times = _times(file)
    if len(times) > 2 * MAX_NOTES:
        raise NotMusic(_("There are far more notes than in a drill. Export only what you need."))
    written = all(abs(time * GRID - round(time * GRID)) <= NEAR * GRID for time in times)
    unit = max(file.ticks_per_beat // (GRID if written else COARSE_GRID), 1)

    def load() -> Any:
        return load_score_midi(file, quantization_unit=unit, quiet=True)

    said = [_(FROM_MIDI)] if written else [_(FROM_MIDI), _(ROUNDED)]
    return _written(load, "MIDI"), said


def _midi(data: bytes) -> Any:
    from mido import MidiFile

    try:
        file = MidiFile(file=io.BytesIO(data), clip=True)
    except MemoryError:
        raise
    except Exception as error:  # whatever a damaged file makes the reader stumble over
        raise NotMusic(_(UNREADABLE).format(form="MIDI")) from error
    if not 1 <= file.ticks_per_beat < 1 << 15:  # else in seconds, which are on no page
        raise NotMusic(_(UNREADABLE).format(form="MIDI"))
    file.filename = "page.mid"
    return file


def _times(file: Any) -> list[float]:
    """When notes begin and end, in quarter notes."""
    found: list[float] = []
    for track in file.tracks:
        now = 0
        for message in track:
            now += message.time
            if message.type in ("note_on", "note_off"):
                found.append(now / file.ticks_per_beat)
    return found


def _written(load: Callable[[], Any], form: str) -> bytes:
    from partitura import save_musicxml

    try:
        # It prints what it thinks of a file, where a child's answer goes.
        with warnings.catch_warnings(), contextlib.redirect_stdout(io.StringIO()):
            warnings.simplefilter("ignore")
            score = load()
            for number, part in enumerate(score.parts, 1):
                part.part_name = part.part_name or _("Part %(number)s") % {"number": number}
            return _own_clefs(save_musicxml(score, None))
    except MemoryError:  # says nothing of the file
        raise
    except Exception as error:
        raise NotMusic(_(UNREADABLE).format(form=form)) from error


def _own_clefs(text: bytes) -> bytes:
    """A part of one staff has that staff's clef, whatever its number was among the others'."""
    root = parsed(text)
    for part in root.iterfind("part"):
        if part.findtext(".//staves", "1") == "1":
            for clef in part.iter("clef"):
                clef.attrib.pop("number", None)
    return tostring(root)
