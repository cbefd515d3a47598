"""What was said of a clip as annotations: the W3C Web Annotation Data Model (23 February 2017).

A target is the playable copy with a media fragment (W3C Media Fragments URI 1.0, 25 September 2012,
section 4.2.1: ``t=start,end`` in seconds). Names of files are relative to the document.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from urllib.parse import quote
from uuid import NAMESPACE_URL, UUID, uuid5

CONTEXT = "http://www.w3.org/ns/anno.jsonld"
FRAGMENTS = "http://www.w3.org/TR/media-frags/"


@dataclass(frozen=True, slots=True)
class Attached:
    """A file that goes with what was said: Sound, Video or Image, by its name."""

    kind: str
    file: str
    content_type: str


@dataclass(frozen=True, slots=True)
class Said:
    """One thing that was said, about a moment or a span of seconds."""

    start_s: float
    end_s: float | None
    text: str
    who: str
    about: str = ""
    attached: list[Attached] = field(default_factory=list)


def page(clip_id: UUID, title: str, media: str, created: str, said: Iterable[Said]) -> dict:
    """All of a clip's annotations in one page of a collection."""
    items = [_annotation(clip_id, n, media, created, one) for n, one in enumerate(said, 1)]
    return {
        "@context": CONTEXT,
        "id": _urn(clip_id, "page"),
        "type": "AnnotationPage",
        "partOf": {
            "id": _urn(clip_id, "collection"),
            "type": "AnnotationCollection",
            "label": title,
            "total": len(items),
        },
        "startIndex": 0,
        "items": items,
    }


def fragment(start_s: float, end_s: float | None) -> str:
    """
    >>> fragment(4.0, None), fragment(4.25, 6.0)
    ('t=4', 't=4.25,6')
    """
    start = _seconds(start_s)
    open_ended = end_s is None or end_s <= start_s
    return f"t={start}" if open_ended else f"t={start},{_seconds(end_s)}"


def _annotation(clip_id: UUID, number: int, media: str, created: str, said: Said) -> dict:
    text = {"type": "TextualBody", "value": said.text, "format": "text/plain"}
    bodies = [text | {"purpose": "commenting"}]
    if said.about:
        bodies.append({"type": "TextualBody", "value": said.about, "purpose": "tagging"})
    bodies += [
        {"id": quote(one.file), "type": one.kind, "format": one.content_type}
        for one in said.attached
    ]
    selector = {"type": "FragmentSelector", "conformsTo": FRAGMENTS}
    return {
        "id": _urn(clip_id, str(number)),
        "type": "Annotation",
        "motivation": "commenting",
        "created": created,
        "creator": {"type": "Person", "name": said.who},
        "body": bodies,
        "target": {
            "source": quote(media),
            "selector": selector | {"value": fragment(said.start_s, said.end_s)},
        },
    }


def _urn(clip_id: UUID, name: str) -> str:
    return uuid5(NAMESPACE_URL, f"urn:uuid:{clip_id}#{name}").urn


def _seconds(value: float) -> str:
    return f"{max(value, 0.0):.3f}".rstrip("0").rstrip(".")
