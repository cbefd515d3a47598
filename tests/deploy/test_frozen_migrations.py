"""A migration that was committed is never edited: some database has run it already.

``frozen-migrations.sha256`` has a line for each, as sha256sum(1) prints them. After a new one:
``sha256sum studio/*/migrations/0*.py >tests/deploy/frozen-migrations.sha256``, and look at the
difference: lines may be added, and none may change.
"""

import hashlib
from pathlib import Path

from tests.deploy.processes import ROOT

LIST = Path(__file__).parent / "frozen-migrations.sha256"


def frozen() -> dict[str, str]:
    lines = (line.split(maxsplit=1) for line in LIST.read_text().splitlines())
    return {path: digest for digest, path in lines}


def present() -> dict[str, str]:
    files = sorted(ROOT.glob("studio/*/migrations/0*.py"))
    digests = (hashlib.sha256(file.read_bytes()).hexdigest() for file in files)
    return {str(file.relative_to(ROOT)): one for file, one in zip(files, digests, strict=True)}


def test_no_committed_migration_was_edited_or_removed():
    now = present()
    assert len(now) >= 20
    assert {path for path, digest in frozen().items() if now.get(path) != digest} == set()


def test_every_migration_is_in_the_list():
    assert present().keys() - frozen().keys() == set(), "add them as the top of this file says"
