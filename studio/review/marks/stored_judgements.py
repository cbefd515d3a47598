"""Judgements worked out by the worker that listened, so that nobody waits for one at the desk.

A stored judgement is what the same judging code said of the same measurement, policy and score: it
is found by a digest of all of these. Where one of them is another (the teacher set a tolerance, the
studio its tuning, an upgrade brought other rules), nothing is found, and the page judges for itself
as ever. So a row can be missing or old, but never wrong.
"""

from functools import cache
from hashlib import sha256
from pathlib import Path

import studio.figures
import studio.intonation
import studio.theory
from studio.clips.models import Listening
from studio.intonation import ExpectedNote, Policy
from studio.review.models import StoredJudgement

JUDGES = (studio.intonation, studio.theory, studio.figures)  # whose code a judgement follows from


def find(listening: Listening, policy: Policy, expected: list[ExpectedNote] | None) -> dict | None:
    """The judgement in its JSON form; ``None`` where none was stored of just this."""
    rows = StoredJudgement.objects.filter(
        listening=listening.pk, made_from=_digest(listening, policy, expected)
    )
    return rows.values_list("judgement", flat=True).first()


def store(
    listening: Listening,
    policy: Policy,
    expected: list[ExpectedNote] | None,
    judgement: dict,
) -> None:
    """Keep this judgement of a listening in place of an earlier one."""
    StoredJudgement.objects.update_or_create(
        listening=listening,
        defaults={
            "made_from": _digest(listening, policy, expected),
            "judgement": judgement,
        },
    )


def _digest(listening: Listening, policy: Policy, expected: list[ExpectedNote] | None) -> str:
    # A row's number may come again after a restore; with its clip and its time it does not.
    heard = (listening.clip_id, listening.created_at.timestamp())
    of = (heard, policy, expected, _judging_code())
    return sha256(repr(of).encode()).hexdigest()


@cache
def _judging_code() -> str:
    """A digest of the program's own files that a judgement follows from."""
    digest = sha256()
    for package in JUDGES:
        for path in sorted(Path(package.__file__).parent.rglob("*.py")):
            digest.update(path.name.encode() + b"\0" + path.read_bytes())
    return digest.hexdigest()
