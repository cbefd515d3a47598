"""Opening an uploaded MusicXML file safely: plain or compressed, never trusted.

Refused are entities (and with them the bombs made of them), files and archives beyond the limits
below, and whatever is not a partwise score. Nothing outside the given bytes is ever read: a
document type is allowed, since the standard's own files carry one, but never fetched.
"""

import io
import zipfile
from xml.etree.ElementTree import Element, ParseError

from defusedxml.common import DefusedXmlException
from defusedxml.ElementTree import fromstring

from studio.figures import megabytes, number

MAX_FILE_BYTES = 5_000_000  # a whole sonata is about 1 MB
MAX_XML_BYTES = 20_000_000  # once unpacked
MAX_DEPTH = 40  # of elements; the standard needs about 12
MAX_ELEMENTS = 400_000
_CONTAINER = "META-INF/container.xml"
_ZIP = b"PK\x03\x04"


class NotMusic(ValueError):
    """The file cannot be read as music. The message is a sentence for the person who chose it."""


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
    if len(data) > MAX_FILE_BYTES:
        raise NotMusic(
            f"The file has {megabytes(len(data))}. A page of music has far less than "
            f"{number(MAX_FILE_BYTES / 1e6)} MB; export only the page you need."
        )
    text = _unpacked(data) if data.startswith(_ZIP) else data
    root = _parsed(text)
    if root.tag == "score-timewise":
        raise NotMusic("The score is written bar by bar (timewise). Export it as partwise.")
    if root.tag != "score-partwise":
        raise NotMusic("This is no MusicXML score. Export the page as MusicXML, then send that.")
    _require_modest(root)
    return root


def _parsed(text: bytes) -> Element:
    try:
        return fromstring(text, forbid_dtd=False, forbid_entities=True, forbid_external=True)
    except DefusedXmlException:
        raise NotMusic(
            "The file defines entities of its own, which music never needs. Export it again."
        ) from None
    except (ParseError, ValueError, LookupError) as error:
        raise NotMusic(
            f"The file is damaged or is no MusicXML ({error}). Export it again."
        ) from None


def _unpacked(data: bytes) -> bytes:
    """The score of a compressed file, as its container names it."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            container = _parsed(_member(archive, _CONTAINER, 100_000))
            rootfile = next((it for it in container.iter() if it.tag.endswith("rootfile")), None)
            path = rootfile.get("full-path") if rootfile is not None else None
            if not path:
                raise NotMusic("The compressed file does not say which score it holds.")
            return _member(archive, path, MAX_XML_BYTES)
    except (zipfile.BadZipFile, KeyError, NotImplementedError, RuntimeError, EOFError, OSError):
        raise NotMusic("The compressed file is damaged. Export it again.") from None


def _member(archive: zipfile.ZipFile, name: str, limit: int) -> bytes:
    """One file of an archive, read no further than the limit, whatever its header claims."""
    with archive.open(name) as member:
        data = member.read(limit + 1)
    if len(data) > limit:
        raise NotMusic(
            f"Unpacked, the score is larger than {number(limit / 1e6)} MB. "
            "Export only the page you need."
        )
    return data


def _require_modest(root: Element) -> None:
    count, level = 0, [root]
    for _ in range(MAX_DEPTH):
        count += len(level)
        if count > MAX_ELEMENTS:
            raise NotMusic("The score is far longer than a drill. Export only the page you need.")
        level = [child for element in level for child in element]
        if not level:
            return
    raise NotMusic("The file is nested too deeply to be music. Export it again.")
