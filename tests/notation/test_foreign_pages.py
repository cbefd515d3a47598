"""Pages that others wrote, from the corpus that music21's package carries: they keep their signs.

A few of the small ones, chosen anew in each run; all of them: ``deploy/measure drills``.
"""

import random
import zipfile

import pytest

from studio.notation.musicxml import page as kept
from tests.benchmarks.drills import corpus, look_at, name_of

SMALL_BYTES = 5_000
PAGES = 5


@pytest.fixture(scope="module")
def small():
    files = [path for path in corpus() if path.stat().st_size < SMALL_BYTES]
    assert len(files) > 100
    return files


def test_every_sign_that_a_page_displays_is_drawn_and_none_that_it_needs_is_missing(small):
    for path in random.sample(small, PAGES):
        found = look_at(path.read_bytes())
        assert not found["lost"], name_of(path)
        assert not found["misread"], name_of(path)


def test_a_page_that_loses_its_signs_is_found(small, monkeypatch):
    monkeypatch.setitem(kept._CHILDREN, "note", kept._CHILDREN["note"] - {"accidental"})
    monkeypatch.setattr(kept, "with_needed_signs", lambda page: None)
    # No file has a name here; the first that displays a sign will do.
    path = next(path for path in small if b"<accidental" in opened(path))
    found = look_at(path.read_bytes())
    assert found["lost"]


def opened(path) -> bytes:
    if not zipfile.is_zipfile(path):
        return path.read_bytes()
    with zipfile.ZipFile(path) as archive:
        return b"".join(archive.read(name) for name in archive.namelist())
