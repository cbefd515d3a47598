"""Opening an uploaded MusicXML file safely: plain or compressed, never trusted.

Refused are entities (and with them the bombs made of them), files and archives beyond the limits
below, and whatever is not a partwise score. Nothing outside the given bytes is ever read: a
document type is allowed, since the standard's own files carry one, but never fetched.

A file is surveyed before a tree is made of it, in little memory whatever it holds: what is far
beyond a drill is refused there, with what was found and how much may be.
"""

import io
import struct
import zipfile
import zlib
from xml.etree.ElementTree import Element, ParseError
from xml.parsers import expat

from defusedxml.common import DefusedXmlException
from defusedxml.ElementTree import fromstring

from studio.figures import megabytes, number
from studio.figures.translation import N_, _

MAX_FILE_BYTES = 5_000_000  # a whole sonata is about 1 MB
MAX_XML_BYTES = 20_000_000  # once unpacked
MAX_DEPTH = 40  # of elements; the standard needs about 12
MAX_ELEMENTS = 250_000
MAX_NOTES = 16_000  # four voices of the longest drill (score.MAX_WRITTEN)
MAX_BARS = 4_000
MAX_DIGITS = 9  # of a number; durations of a millionth of a quarter note fit
MAX_WORD_CHARS = 10_000  # of one attribute
_NUMBERS = {"divisions", "duration", "beats", "beat-type", "octave", "alter", "fifths"}
SHOWN_CHARS = 120  # of what a parser has to say
_CHUNK = 1 << 16
_CONTAINER = "META-INF/container.xml"
MIDI_HEAD = b"MThd"
_ZIP = b"PK\x03\x04"
# The standard's own way of packing, and none. Others unpack whole, however little is asked for.
_PACKINGS = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
_STUMBLES = (
    *(zipfile.BadZipFile, zlib.error, struct.error, EOFError, OSError),
    *(LookupError, ValueError, NotImplementedError, RuntimeError),
)

ENTITIES = N_("The file defines entities of its own, which music never needs. Export it again.")
DAMAGED = N_("The file is damaged or is no MusicXML ({error}). Export it again.")


class NotMusic(ValueError):
    """The file cannot be read as music. The message is a sentence for the person who chose it."""


MEI = "mei"


def survey(data: bytes) -> tuple[bytes, str]:
    """The text of a file of XML, unpacked and not too much, and its root's name.

    Raises
    ------
    NotMusic
        With a sentence that says what is wrong and what to do; of what is neither MusicXML nor MEI.
    """
    if len(data) > MAX_FILE_BYTES:
        raise NotMusic(too_large(len(data)))
    text = _unpacked(data) if data.startswith(_ZIP) else data
    looked = _Survey()
    looked.look_through(text)
    return text, looked.root


def open_musicxml(data: bytes) -> Element:
    """The root element of a ``.musicxml``, ``.xml`` or ``.mxl`` file.

    Parameters
    ----------
    data : the file's bytes, at most 5 MB

    Returns
    -------
    Element
        ``score-partwise``.

    Raises
    ------
    NotMusic
        With a sentence that says what is wrong and what to do.
    """
    return partwise(*survey(data))


def partwise(text: bytes, root: str) -> Element:
    """The tree of what was surveyed, where it is MusicXML. Raises ``NotMusic``."""
    if root:  # else there is nothing at all, which the reader says
        _require_partwise(root)
    return parsed(text)


def _require_partwise(tag: str) -> None:
    if tag == "score-timewise":
        raise NotMusic(_("The score is written bar by bar (timewise). Export it as partwise."))
    if tag != "score-partwise":
        raise NotMusic(_("This is no MusicXML score. Export the page as MusicXML, then send that."))


def may_be_music(head: bytes) -> bool:
    """Whether a file may be music by how it begins: an archive, MIDI, XML, or as UTF-16."""
    if head.startswith((_ZIP, MIDI_HEAD, b"\xff\xfe", b"\xfe\xff")):
        return True
    return head.removeprefix(b"\xef\xbb\xbf").lstrip().startswith(b"<")


def too_large(size_bytes: int) -> str:
    """What is said of a file that is larger than may be."""
    return _(
        "The file has %(size_bytes)s. A page of music has far less than "
        "%(max_file_bytes)s MB; export only the page you need."
    ) % {"size_bytes": megabytes(size_bytes), "max_file_bytes": number(MAX_FILE_BYTES / 1000000.0)}


class _Survey:
    """Counts what a file holds while it is read past, and raises at the first that is too much."""

    def __init__(self) -> None:
        self.root = ""
        self._depth = 0
        self._counts = {"element": 0, "note": 0, "measure": 0}
        self._digits: list[str] | None = None

    def look_through(self, text: bytes) -> None:
        """Raises ``NotMusic``; what is no XML at all is left for the reader to say."""
        parser = expat.ParserCreate()
        parser.buffer_text = True
        parser.StartElementHandler = self._start
        parser.EndElementHandler = self._end
        parser.CharacterDataHandler = self._text
        parser.EntityDeclHandler = self._entity
        view = memoryview(text)
        try:
            for start in range(0, len(view), _CHUNK):
                parser.Parse(bytes(view[start : start + _CHUNK]), start + _CHUNK >= len(view))
        except NotMusic:
            raise
        except (expat.ExpatError, ValueError, LookupError) as error:  # the last two: its encoding
            raise _damaged(error) from None

    def _start(self, name: str, attributes: dict[str, str]) -> None:
        self._depth += 1
        if self._depth == 1:
            self.root = name
            if name != MEI:
                _require_partwise(name)
        if self._depth > MAX_DEPTH:
            raise NotMusic(_("The file is nested too deeply to be music. Export it again."))
        self._count("element", MAX_ELEMENTS, _("parts in all"))
        if name == "note":
            self._count("note", MAX_NOTES, "notes")
        elif name == "measure":
            self._count("measure", MAX_BARS, "bars")
        if any(len(value) > MAX_WORD_CHARS for value in attributes.values()):
            raise NotMusic(_("A word in the file is far too long for music. Export it again."))
        self._digits = [] if name in _NUMBERS else None

    def _count(self, what: str, most: int, words: str) -> None:
        self._counts[what] += 1
        if self._counts[what] > most:
            raise NotMusic(
                _(
                    "The score has more than %(most)s %(words)s, far more than a drill. Export "
                    "only the page you need."
                )
                % {"most": number(most), "words": words}
            )

    def _text(self, text: str) -> None:
        if self._digits is not None:
            self._digits.append(text)

    def _end(self, name: str) -> None:
        self._depth -= 1
        value = "".join(self._digits or ()).strip()
        if len(value) > MAX_DIGITS + 2:  # a sign and a point may stand with the digits
            raise NotMusic(
                _(
                    "A number in the file (%(name)s) has %(len)s digits; music needs at most "
                    "%(max_digits)s. Export the page again."
                )
                % {"name": name, "len": len(value), "max_digits": MAX_DIGITS}
            )
        self._digits = None

    def _entity(self, *declared: object) -> None:
        raise NotMusic(_(ENTITIES))


def parsed(text: bytes) -> Element:
    """The tree of XML that was surveyed. Raises ``NotMusic``."""
    try:
        return fromstring(text, forbid_dtd=False, forbid_entities=True, forbid_external=True)
    except DefusedXmlException:
        raise NotMusic(_(ENTITIES)) from None
    except (ParseError, ValueError, LookupError) as error:
        raise _damaged(error) from None


def _damaged(error: Exception) -> NotMusic:
    return NotMusic(_(DAMAGED).format(error=str(error)[:SHOWN_CHARS]))


def _unpacked(data: bytes) -> bytes:
    """The score of a compressed file, as its container names it."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            container = parsed(_member(archive, _CONTAINER, 100_000))
            rootfile = next((it for it in container.iter() if it.tag.endswith("rootfile")), None)
            path = rootfile.get("full-path") if rootfile is not None else None
            if not path:
                raise NotMusic(_("The compressed file does not say which score it holds."))
            return _member(archive, path, MAX_XML_BYTES)
    except NotMusic:
        raise
    except _STUMBLES:
        raise NotMusic(_("The compressed file is damaged. Export it again.")) from None


def _member(archive: zipfile.ZipFile, name: str, limit: int) -> bytes:
    """One file of an archive, read no further than the limit, whatever its header claims."""
    if archive.getinfo(name).compress_type not in _PACKINGS:
        raise NotMusic(_("The compressed file is packed in an unusual way. Export it again."))
    with archive.open(name) as member:
        data = member.read(limit + 1)
    if len(data) > limit:
        raise NotMusic(
            _("Unpacked, the score is larger than %(limit)s MB. Export only the page you need.")
            % {"limit": number(limit / 1000000.0)}
        )
    return data
