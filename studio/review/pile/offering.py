"""What a teacher says often in summaries, for the next one: counted, by pupil and kind of drill.

A summary is taken sentence by sentence. Where a pupil is addressed ("Well done, Mira.") the name is
a place, so that the same sentence to another is the same sentence. What was said to one pupil alone
is offered for that pupil alone: it may be nobody else's business.
"""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

OFFERED = 5
LONGEST = 200  # letters; what is longer is not said often
PUPIL = "{pupil}"
_ENDS = re.compile(r"(?<=[.!?])\s+|\s*[\r\n]+\s*")
_BRACES = re.compile(r"[{}]")


@dataclass(frozen=True, slots=True)
class Said:
    """One summary: its text, to whom, and what kind of drill it was about (empty for none)."""

    text: str
    pupil_id: int
    first_name: str
    kind: str


@dataclass(frozen=True, slots=True)
class Offer:
    """Words to begin with, and how often they were said: in all, and to this pupil."""

    text: str
    times: int
    to_pupil: int


@dataclass(frozen=True, slots=True)
class Sentence:
    text: str
    said: tuple[Said, ...]

    def is_for(self, pupil_id: int) -> bool:
        pupils = {each.pupil_id for each in self.said}
        return pupil_id in pupils or len(pupils) > 1


def counted(said: Iterable[Said]) -> list[Sentence]:
    """Every sentence of some summaries, the newest first, with the summaries that have it."""
    found: dict[str, list[Said]] = {}
    for each in said:
        for text in dict.fromkeys(sentences(each.text, each.first_name)):
            found.setdefault(text, []).append(each)
    return [Sentence(text, tuple(having)) for text, having in found.items()]


def offered(
    often: Sequence[Sentence],
    phrases: Sequence[str],
    *,
    pupil_id: int,
    first_name: str,
    kind: str,
) -> list[Offer]:
    """What to offer for a clip: what was said most to this pupil and of this kind of drill first.

    The teacher's own phrases follow, where they need nothing that a summary does not know.
    """
    mine = [sentence for sentence in often if sentence.is_for(pupil_id)]
    ranked = sorted(mine, key=lambda s: _rank(s, pupil_id, kind), reverse=True)
    found = [
        Offer(
            filled(sentence.text, first_name),
            len(sentence.said),
            sum(each.pupil_id == pupil_id for each in sentence.said),
        )
        for sentence in ranked
    ]
    have = {offer.text for offer in found}
    shelf = [filled(text, first_name) for text in phrases if not _BRACES.search(_bare(text))]
    found = found[: OFFERED - min(1, len(shelf))]  # one place at least is the shelf's
    found += [Offer(text, 0, 0) for text in shelf if text not in have]
    return found[:OFFERED]


def sentences(text: str, first_name: str) -> list[str]:
    """
    >>> sentences("Well done, Mira. Slower bow!", "Mira")
    ['Well done, {pupil}.', 'Slower bow!']
    """
    addressed = re.compile(rf"(?:(?<=^)|(?<=, )){re.escape(first_name)}(?=[,.!?]|$)")
    parts = (" ".join(part.split()) for part in _ENDS.split(text.strip()))
    return [addressed.sub(PUPIL, part) for part in parts if 0 < len(part) <= LONGEST]


def filled(text: str, first_name: str) -> str:
    return text.replace(PUPIL, first_name)


def _bare(text: str) -> str:
    return text.replace(PUPIL, "")


def _rank(sentence: Sentence, pupil_id: int, kind: str) -> tuple[int, int, int]:
    to_pupil = [each for each in sentence.said if each.pupil_id == pupil_id]
    both = sum(each.kind == kind for each in to_pupil)
    of_kind = sum(each.kind == kind for each in sentence.said)
    return both, len(to_pupil) + of_kind, len(sentence.said)
