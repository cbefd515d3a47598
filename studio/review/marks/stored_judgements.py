"""Judgements worked out by the worker that listened, so that nobody waits for one at the desk.

A stored judgement is what the same judging code said of the same measurement by the same policy,
score and pins (:class:`Basis`): it is found by a digest of all of these. Where one of them is
another (the teacher set a tolerance or said which bar a place is, the studio its tuning, an upgrade
brought other rules), nothing is found, and the page judges for itself as ever. So a row can be
missing or old, but never wrong.
"""

from dataclasses import dataclass
from functools import cache
from hashlib import sha256
from pathlib import Path

import studio.figures
import studio.intonation
import studio.theory
from studio.clips.models import Listening
from studio.intonation import ExpectedNote, Pin, Policy
from studio.review.models import StoredJudgement

JUDGES = (studio.intonation, studio.theory, studio.figures)  # whose code a judgement follows from


@dataclass(frozen=True, slots=True)
class Basis:
    """What a measurement is judged by: the policy, what is written (``None`` where no score goes
    with it) and the places that are pinned to a bar of it."""

    policy: Policy
    expected: list[ExpectedNote] | None = None
    pins: tuple[Pin, ...] = ()


def find(listening: Listening, basis: Basis) -> dict | None:
    """The judgement in its JSON form; ``None`` where none was stored of just this."""
    rows = StoredJudgement.objects.filter(
        listening=listening.pk, made_from=_digest(listening, basis)
    )
    return rows.values_list("judgement", flat=True).first()


def store(listening: Listening, basis: Basis, judgement: dict) -> None:
    """Keep this judgement of a listening in place of an earlier one."""
    StoredJudgement.objects.update_or_create(
        listening=listening,
        defaults={
            "made_from": _digest(listening, basis),
            "judgement": judgement,
        },
    )


def _digest(listening: Listening, basis: Basis) -> str:
    # A row's number may come again after a restore; with its clip and its time it does not.
    heard = (listening.clip_id, listening.created_at.timestamp())
    of = (heard, basis, _judging_code())
    return sha256(repr(of).encode()).hexdigest()


@cache
def _judging_code() -> str:
    """A digest of the program's own files that a judgement follows from."""
    digest = sha256()
    for package in JUDGES:
        for path in sorted(Path(package.__file__).parent.rglob("*.py")):
            digest.update(path.name.encode() + b"\0" + path.read_bytes())
    return digest.hexdigest()
