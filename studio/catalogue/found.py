"""What was found in a file."""

import re
from dataclasses import dataclass, field

# Two letters in a row, of any alphabet: what is less is a sign or a unit.
NAME = "Studio"  # what the service calls itself, in every language
WORD = re.compile(r"[^\W\d_]{2,}")


@dataclass(frozen=True, slots=True)
class Message:
    """A sentence for the catalogue; ``plural`` is empty where it has one form."""

    singular: str
    plural: str = ""
    context: str = ""  # what tells it from the same words elsewhere


@dataclass(slots=True)
class Found:
    """The messages of a file by line, and what is said outside of translation."""

    messages: list[tuple[int, Message]] = field(default_factory=list)
    bare: list[tuple[int, str]] = field(default_factory=list)

    def add(self, line: int, singular: str, plural: str = "", context: str = "") -> None:
        self.messages.append((line, Message(singular, plural, context)))

    def count(self, line: int, one: str, many: str) -> None:
        """A number with its noun, as ``figures.count`` says it: one, many and none of them."""
        self.add(line, f"%(count)s {one}", f"%(count)s {many}")
        self.add(line, f"no {many}")

    def say(self, line: int, text: str) -> None:
        """Note what is said outside of translation, if it holds a word."""
        if WORD.search(text.replace(NAME, "")):
            self.bare.append((line, " ".join(text.split())))
