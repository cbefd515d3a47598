"""Fingers, positions, string letters and bar numbers touch nothing on the page, as a browser draws
it: some drills by chance; ``deploy/measure drills`` takes 300.
"""

import random

import pytest
from playwright.sync_api import Browser, Page

from studio.notation import Request, generate
from tests.notation.glyph_boxes import collisions, random_drills

DRILLS = 8


@pytest.fixture
def page(chromium: Browser) -> Page:
    return chromium.new_page(viewport={"width": 1400, "height": 900})


def test_what_stands_at_the_staff_touches_nothing(page: Page):
    seed = random.SystemRandom().randrange(10**6)
    for request, score in random_drills(random.Random(seed), DRILLS):
        assert collisions(page, score) == [], (seed, request)


def test_a_finger_drawn_against_a_stem_is_seen(page: Page, monkeypatch):
    """What the check above relies on: without its blanks, a digit stands beside the stem."""
    monkeypatch.setattr("studio.notation.engraving._BLANK", "")
    score = generate(Request(key="A major", manner="together", start=1))
    found = collisions(page, score, ("desk",))
    assert {(one.first[:4], one.second) for one in found} == {("fing", "stem")}
