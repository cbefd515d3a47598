"""The tokens of the look: words and edges can be told from their ground, in light and dark.

Source: W3C, Web Content Accessibility Guidelines 2.2, success criteria 1.4.3 (text: 4.5 to 1)
and 1.4.11 (the edge of a control: 3 to 1); relative luminance as defined there.
"""

import re
from pathlib import Path

import pytest

SHEET = (Path(__file__).parents[1] / "studio/static/studio.css").read_text()
TEXT, EDGE = 4.5, 3.0


def tokens(block: str) -> dict[str, str]:
    return dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6});", block))


LIGHT = tokens(SHEET.split("@media")[0])
DARK = tokens(SHEET.split("@media screen and (prefers-color-scheme: dark)")[1].split("/* --")[0])


def luminance(colour: str) -> float:
    channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return sum(w * c for w, c in zip((0.2126, 0.7152, 0.0722), linear, strict=True))


def contrast(one: str, other: str) -> float:
    dark, light = sorted((luminance(one), luminance(other)))
    return (light + 0.05) / (dark + 0.05)


def test_the_formula_gives_the_published_extremes():
    assert contrast("#ffffff", "#000000") == pytest.approx(21.0)
    assert contrast("#777777", "#777777") == 1.0


@pytest.mark.parametrize("scheme", [LIGHT, DARK], ids=["light", "dark"])
@pytest.mark.parametrize("ground", ["paper", "sheet", "wash"])
@pytest.mark.parametrize("ink", ["ink", "quiet"])
def test_words_can_be_read(scheme, ground, ink):
    assert contrast(scheme[ink], scheme[ground]) >= TEXT


@pytest.mark.parametrize("scheme", [LIGHT, DARK], ids=["light", "dark"])
def test_main_buttons_can_be_read(scheme):
    assert contrast(scheme["on-emphasis"], scheme["emphasis"]) >= TEXT
    assert contrast(scheme["on-emphasis"], scheme["quiet"]) >= TEXT  # under the pointer


@pytest.mark.parametrize("scheme", [LIGHT, DARK], ids=["light", "dark"])
@pytest.mark.parametrize("ground", ["paper", "sheet"])
def test_the_edges_of_controls_can_be_seen(scheme, ground):
    assert contrast(scheme["edge"], scheme[ground]) >= EDGE


def test_light_and_dark_name_the_same_tokens():
    assert set(LIGHT) == set(DARK)
    assert len(LIGHT) >= 9
