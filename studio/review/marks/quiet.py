"""Marks that are proposed more quietly, by the studio's blind audit (:mod:`.audit_figures`).

Such a mark stands where it stood, lighter, and comes after the loud ones. Until it is kept it is in
no count.
"""

from collections.abc import Mapping
from dataclasses import replace

from . import audit_figures, interval_groups
from .mark import Mark


def group_of(code: str, params: Mapping) -> str:
    """The group of intervals that a mark is counted by; empty where it is about no size."""
    short = params.get("interval")
    return interval_groups.of_interval(short) if short and code.startswith("interval_") else ""


def told(marks: list[Mark], studio_id: int, generation: int) -> list[Mark]:
    """The same marks; those of a quiet kind say how often such ones were right."""
    if not any(mark.is_sized for mark in marks):
        return marks
    shares = audit_figures.quiet_kinds(studio_id, generation)
    if not shares:
        return marks
    groups = [group_of(mark.code, mark.params) for mark in marks]
    return [replace(m, quiet=shares.get(group)) for m, group in zip(marks, groups, strict=True)]
