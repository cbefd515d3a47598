"""The page that holds the studio against OWASP ASVS 5.0.0 is whole, and names tests that exist.

Source of the numbers and levels: https://github.com/OWASP/ASVS, 5.0/en, chapters V5, V6, V7, V8 and
V14, the requirements of levels 1 and 2.
"""

import re
from pathlib import Path

import pytest

from tests.deploy.named_tests import NAMED, ROOT, functions_of

PAGE = (ROOT / "deploy/asvs.md").read_text("utf-8")
LEVEL_1 = """
5.2.1 5.2.2 5.3.1 5.3.2
6.1.1 6.2.1 6.2.2 6.2.3 6.2.4 6.2.5 6.2.6 6.2.7 6.2.8 6.3.1 6.3.2 6.4.1 6.4.2
7.2.1 7.2.2 7.2.3 7.2.4 7.4.1 7.4.2
8.1.1 8.2.1 8.2.2 8.3.1
14.2.1 14.3.1
"""
LEVEL_2 = """
5.1.1 5.2.3 5.4.1 5.4.2 5.4.3
6.1.2 6.1.3 6.2.9 6.2.10 6.2.11 6.2.12 6.3.3 6.3.4 6.4.3 6.4.4
6.5.1 6.5.2 6.5.3 6.5.4 6.5.5 6.6.1 6.6.2 6.6.3 6.8.1 6.8.2 6.8.3 6.8.4
7.1.1 7.1.2 7.1.3 7.3.1 7.3.2 7.4.3 7.4.4 7.4.5 7.5.1 7.5.2 7.6.1 7.6.2
8.1.2 8.2.3 8.4.1
14.1.1 14.1.2 14.2.2 14.2.3 14.2.4 14.3.2 14.3.3
"""
LEVELS = dict.fromkeys(LEVEL_1.split(), "1") | dict.fromkeys(LEVEL_2.split(), "2")
ROW = re.compile(r"^\| (\d+\.\d+\.\d+) \| (\d) \| (.+?) \| (.+?) \| (.+) \|$", re.MULTILINE)
ROWS = ROW.findall(PAGE)
STANDS = {"met", "not met", "not here"}


def test_every_requirement_of_these_chapters_has_one_row():
    assert sorted(number for number, *_ in ROWS) == sorted(LEVELS)
    assert {number: level for number, level, *_ in ROWS} == LEVELS


@pytest.mark.parametrize(("number", "stands", "how"), [(row[0], row[3], row[4]) for row in ROWS])
def test_a_row_says_how_it_stands_and_by_what(number, stands, how):
    assert stands in STANDS
    if stands == "met":
        assert NAMED.search(how), "names the test that shows it"
    else:
        assert len(how.split()) >= 3, "says why"


@pytest.mark.parametrize(("file", "name"), sorted(set(NAMED.findall(PAGE))))
def test_a_named_test_exists(file, name):
    assert name in functions_of(ROOT / file)


def test_a_test_that_is_only_written_about_is_found_missing():
    assert "test_that_nobody_wrote" not in functions_of(Path(__file__))
