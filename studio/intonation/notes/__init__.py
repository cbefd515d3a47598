"""Which notes sound, and when."""

from studio.intonation.notes.find import find_soundings

__all__ = ["find_soundings"]
