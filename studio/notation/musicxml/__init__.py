"""MusicXML in and out: what a drill is exchanged as."""

from studio.notation.musicxml.leaf import only_bars
from studio.notation.musicxml.opening import NotMusic
from studio.notation.musicxml.reading import Read, read_musicxml
from studio.notation.musicxml.writing import to_musicxml

__all__ = ["NotMusic", "Read", "only_bars", "read_musicxml", "to_musicxml"]
