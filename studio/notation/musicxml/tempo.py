"""What a page says of its tempo: where a new one begins, and where it leaves it to the player.

The words are the trade's (common practice, no source); they count for their whole measure.
"""

import re
from collections.abc import Iterator
from xml.etree.ElementTree import Element

NEW, FREE, AS_BEFORE = "new", "free", "as_before"
_FREE = re.compile(
    r"\b(rit\.?|ritard\w*\.?|riten\w*\.?|rall\w*\.?|allarg\w*\.?|slarg\w*\.?|calando|morendo"
    r"|smorz\w*\.?|perdendosi|acc(el\w*)?\.|accel\w*\.?|string(endo)?\.?|affrett\w*\.?|rubato"
    r"|ad lib\w*\.?|a piacere|cadenza|senza misura|colla (parte|voce)|recit\w*\.?)(?!\w)",
    re.I,
)
_AS_BEFORE = re.compile(r"\b(a|in) tempo\b|\btempo (i|1|primo|primo\.)(?!\w)", re.I)
_NEW = re.compile(
    r"\b(grave|largo|larghetto|lento|adagio|adagietto|andante|andantino|moderato|allegretto"
    r"|allegro|vivace|presto|prestissimo|(meno|pi[uù]) (mosso|lento|vivo)|doppio movimento)\b",
    re.I,
)


def tempo_said(part: Element) -> list[str | None]:
    """For each measure what its words and marks say of the tempo; ``None`` where nothing."""
    return [_of(measure) for measure in part.findall("measure")]


def held_at_will(part: Element) -> list[bool]:
    """For each measure, whether a fermata stands on a rest or a bar line in it."""
    return [_has_such(measure) for measure in part.findall("measure")]


def _of(measure: Element) -> str | None:
    words = " ".join(element.text or "" for element in measure.iterfind(".//words"))
    if _FREE.search(words):
        return FREE
    if _AS_BEFORE.search(words):
        return AS_BEFORE
    marked = any(True for _each in _marks(measure))
    return NEW if marked or _NEW.search(words) else None


def _marks(measure: Element) -> Iterator[Element]:
    yield from measure.iterfind(".//metronome")
    yield from (sound for sound in measure.iter("sound") if sound.get("tempo"))


def _has_such(measure: Element) -> bool:
    if measure.find("barline/fermata") is not None:
        return True
    return any(
        note.find("rest") is not None and note.find("notations/fermata") is not None
        for note in measure.findall("note")
    )
