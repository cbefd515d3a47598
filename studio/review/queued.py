"""What stands in a pupil's queue already and treats what is out of tune at a place of a clip.

A drill with a page treats a fault where that very double stop is written in it. One in words treats
it where it is about the interval, in any key or in this one: more is not known of it.
"""

from dataclasses import dataclass

from studio.accounts.models import Enrolment
from studio.drills.access import queue_of
from studio.drills.models import Assignment, DrillVersion
from studio.drills.shelf import FAMILIES

from .faults import Fault
from .treating import Facts

MOST_QUEUED = 40  # a longer queue is no longer read by anybody


@dataclass(frozen=True, slots=True)
class Queued:
    """A drill of the queue, and the names of the double stops out of tune here that it has."""

    assignment: Assignment
    treats: tuple[str, ...]


def queued_for(enrolment: Enrolment, facts: Facts) -> list[Queued]:
    """What is to be practised, in the order of the queue; ``treats`` may be empty."""
    standing = queue_of(enrolment).defer(None).defer("version__request", "version__incipit")
    return [Queued(one, treated(one.version, facts)) for one in standing[:MOST_QUEUED]]


def treated(version: DrillVersion, facts: Facts) -> tuple[str, ...]:
    """The names of the faults that a drill treats, each once."""
    found = [fault for fault in facts.faults if _treats(version, fault, facts)]
    return tuple(dict.fromkeys(fault.name for fault in found))


def _treats(version: DrillVersion, fault: Fault, facts: Facts) -> bool:
    page = version.page
    if page is not None:
        pair = [fault.low.midi, fault.high.midi]
        return any([pitch.midi for pitch in item.pitches] == pair for item in page.written)
    kinds = FAMILIES.get(fault.word, ())
    return version.interval in kinds and version.key in ("", facts.key.name)
