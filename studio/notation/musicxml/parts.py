"""Which part of a file is read: the one that was asked for, else the one most likely meant."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from xml.etree.ElementTree import Element

from studio.figures.translation import _
from studio.notation.musicxml.opening import NotMusic

MAX_NAME_CHARS = 60
_STRINGS = ("violin", "viola")


@dataclass(frozen=True, slots=True)
class Part:
    """A part with notes: the file's own id of it, its name, how many notes it has."""

    id: str
    name: str
    notes: int


def parts_of(root: Element) -> tuple[Part, ...]:
    """The parts with notes, in the file's order; those of the same name are numbered."""
    names = {
        entry.get("id", ""): " ".join(entry.findtext("part-name", "").split())[:MAX_NAME_CHARS]
        for entry in root.iterfind("part-list/score-part")
    }
    found = [
        Part(part.get("id", ""), names.get(part.get("id", "")) or str(part.get("id")), notes)
        for part in root.findall("part")
        if (notes := len(part.findall(".//note/pitch")))
    ]
    many, seen = Counter(part.name for part in found), Counter[str]()
    numbered = []
    for part in found:
        seen[part.name] += 1
        more = f" ({seen[part.name]})" if many[part.name] > 1 else ""
        numbered.append(Part(part.id, f"{part.name}{more}", part.notes))
    return tuple(numbered)


def only_part(root: Element, wanted: str | None, instrument: str | None) -> Element:
    """The part that is read; it alone is left in the tree.

    Parameters
    ----------
    wanted : a part's id; the first one for the instrument when ``None``, else the first with notes
    instrument : violin or viola, where it is known

    Raises
    ------
    NotMusic
        Where there are no notes, or no such part.
    """
    parts = parts_of(root)
    if not parts:
        raise NotMusic(_("There are no notes in this file."))
    keep = _chosen(parts, wanted, instrument)
    for part in [part for part in root.findall("part") if part.get("id", "") != keep]:
        root.remove(part)
    for listed in root.findall("part-list"):
        for entry in list(listed):
            if entry.tag != "score-part" or entry.get("id", "") != keep:
                listed.remove(entry)
    return root.findall("part")[0]


def _chosen(parts: Sequence[Part], wanted: str | None, instrument: str | None) -> str:
    if wanted:
        if wanted not in [part.id for part in parts]:
            raise NotMusic(_("The file has no such part with notes. Choose one of its parts."))
        return wanted
    for name in (instrument,) if instrument else _STRINGS:
        for part in parts:
            if name and name in part.name.lower():
                return part.id
    return parts[0].id
