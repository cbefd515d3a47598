"""A summary proposed to the teacher: three things at most, what went well first.

Every sentence says what was measured or decided, none advises: the words of the lesson are the
teacher's. A change is called one only where it is larger than twice its uncertainty. Pure: the
plain form of a judgement in, sentences out.

What a teacher says often (:func:`offered_sentences`) is offered for the next summary, counted by
pupil and kind of drill. A summary is taken sentence by sentence. Where a pupil is addressed ("Well
done, Mira.") the name is a place, so that the same sentence to another is the same sentence. What
was said to one pupil alone is offered for that pupil alone: it may be nobody else's business.
"""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _

from studio import figures
from studio.theory import Interval, Pitch

MOST = 3
FEW = 3  # of fewer double stops no share is said
GOOD_SHARE = 0.5  # from here on the share of what is in tune is good news
SURE = 2.0  # standard deviations


@dataclass(frozen=True, slots=True)
class Run:
    """How one run ended, and by how many cents it was further off than at first."""

    name: str
    verdict: str
    change_cents: float | None = None
    change_uncertainty_cents: float | None = None

    @property
    def gained_cents(self) -> float:
        """By how much it surely came closer; 0 where that cannot be told."""
        change, doubt = self.change_cents, self.change_uncertainty_cents
        if change is None or doubt is None or -change <= SURE * doubt:
            return 0.0
        return -change


@dataclass(frozen=True, slots=True)
class Kept:
    """A mark the teacher kept: its words, its rank, and its kind and deviation where it has one."""

    words: str
    rank: int
    kind: str = ""
    deviation_cents: float | None = None


@dataclass(frozen=True, slots=True)
class Facts:
    """What stands at the desk. ``goal`` is a sentence where a drill's goal was reached."""

    runs: tuple[Run, ...] = ()
    kept: tuple[Kept, ...] = ()
    drills: tuple[str, ...] = ()
    goal: str = ""


def propose(facts: Facts) -> list[str]:
    """At most three sentences, the good one first; empty where nothing can be said."""
    good = good_news(facts)
    said = [good] if good else []
    said += _to_change(facts.kept)
    if facts.drills:
        said = [*said[: MOST - 1], f"Next: {facts.drills[0]}."]
    return said[:MOST]


def good_news(facts: Facts) -> str:
    """What went well or came closer, as a sentence; empty where nothing can be said."""
    return facts.goal or _closer(facts.runs) or _share(facts.runs)


def facts_of(judgement: Mapping, kept: Iterable[Kept], **more) -> Facts:
    """The facts of a judged clip; ``more`` are its drills and goal."""
    names = _names(judgement)
    verdicts = {row["event"]: row for row in reversed(judgement["intervals"])}
    runs = []
    for run in judgement["runs"]:
        last = next(
            (pk for pk in reversed(run.get("playings") or run["events"]) if pk in names), None
        )
        if last is None:
            continue
        runs.append(
            Run(
                name=names[last],
                verdict=verdicts[last]["verdict"],
                change_cents=run.get("change_cents"),
                change_uncertainty_cents=run.get("change_uncertainty_cents"),
            )
        )
    return Facts(runs=tuple(runs), kept=tuple(kept), **more)


def _names(judgement: Mapping) -> dict[int, str]:
    """What each event is called: ``octave B♭3–B♭4``."""
    found: dict[int, str] = {}
    for row in judgement["intervals"]:
        pitches = [
            Pitch.parse(row[key]).pretty for key in ("low_pitch", "high_pitch") if row.get(key)
        ]
        name = f"{Interval.parse(row['short']).everyday} {'–'.join(pitches)}".strip()
        found.setdefault(row["event"], name)
    return found


def _closer(runs: Sequence[Run]) -> str:
    """The run that surely came closer by most, and ended in tune."""
    better = [run for run in runs if run.gained_cents and run.verdict in ("in_tune", "near")]
    if not better:
        return ""
    best = max(better, key=lambda run: run.gained_cents)
    by = figures.cents(best.gained_cents, best.change_uncertainty_cents)
    ending = _(", and ended in tune.") if best.verdict == "in_tune" else "."
    return _("The %(best)s came closer by %(by)s%(ending)s") % {
        "best": best.name,
        "by": by,
        "ending": ending,
    }


def _share(runs: Sequence[Run]) -> str:
    """How many double stops ended in tune; said as good news only where it is."""
    judged = [run for run in runs if run.verdict != "unsure"]
    right = sum(run.verdict in ("in_tune", "near") for run in judged)
    if len(judged) < FEW or right < GOOD_SHARE * len(judged):
        return ""
    if right == len(judged):
        return _("All %(right)s double stops ended in tune.") % {"right": right}
    return _("%(right)s of %(judged)s double stops ended in tune.") % {
        "right": right,
        "judged": len(judged),
    }


def _to_change(kept: Sequence[Kept]) -> list[str]:
    """The kept marks by importance; those of one kind and one direction are said together."""
    said, taken = [], set()
    for mark in sorted(kept, key=lambda mark: mark.rank):
        if mark in taken:
            continue
        alike = [other for other in kept if _alike(mark, other)]
        taken.update(alike)
        said.append(_together(alike) if len(alike) > 1 else mark.words)
    return said


def _alike(mark: Kept, other: Kept) -> bool:
    if mark is other:
        return True
    if not mark.kind or mark.kind != other.kind:
        return False
    a, b = mark.deviation_cents, other.deviation_cents
    return a is not None and b is not None and (a > 0) == (b > 0)


def _together(alike: Sequence[Kept]) -> str:
    cents = [mark.deviation_cents for mark in alike if mark.deviation_cents is not None]
    way = "wide" if cents[0] > 0 else "narrow"
    sizes = figures.cents_between(min(map(abs, cents)), max(map(abs, cents)))
    return f"{len(alike)} {alike[0].kind} were {way}, by {sizes}."


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


def counted_sentences(said: Iterable[Said]) -> list[Sentence]:
    """Every sentence of some summaries, the newest first, with the summaries that have it."""
    found: dict[str, list[Said]] = {}
    for each in said:
        for text in dict.fromkeys(sentences(each.text, each.first_name)):
            found.setdefault(text, []).append(each)
    return [Sentence(text, tuple(having)) for text, having in found.items()]


def offered_sentences(
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
