"""The W3C schema of MusicXML 4.0, as carried by the package ``musicxml``."""

from functools import cache
from pathlib import Path

import musicxml
import xmlschema

_FOLDER = Path(musicxml.__file__).parent / "generate_classes"
_XLINK = Path(xmlschema.__file__).parent / "schemas" / "XLINK" / "xlink.xsd"


@cache
def schema() -> xmlschema.XMLSchema:
    """The schema, with nothing fetched: its two imports are taken from the packages too."""
    return xmlschema.XMLSchema(
        _FOLDER / "musicxml_4_0.xsd",
        locations=[
            ("http://www.w3.org/XML/1998/namespace", str(_FOLDER / "xml.xsd")),
            ("http://www.w3.org/1999/xlink", str(_XLINK)),
        ],
        allow="local",
    )


def faults(document: str) -> list[str]:
    """What the schema says against a document; empty when it is valid."""
    return [f"{error.path}: {error.reason}" for error in schema().iter_errors(document)]
