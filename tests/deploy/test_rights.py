"""The page on the rights of children and families is whole, and names tests that exist.

Sources: the Information Commissioner's *Age appropriate design* (2020), its fifteen standards, and
Regulation (EU) 2016/679 (GDPR), articles 7, 8, 13, 15, 17 and 20.
"""

import re

import pytest

from tests.deploy.named_tests import NAMED, ROOT, functions_of

PAGE = (ROOT / "deploy/rights.md").read_text("utf-8")
ROW = re.compile(r"^\| \d+ \|.+\|$", re.MULTILINE)
CODE = "The children's code"
STANDARDS = (
    "Best interests of the child",
    "Data protection impact assessments",
    "Age appropriate application",
    "Transparency",
    "Detrimental use of data",
    "Policies and community standards",
    "Default settings",
    "Data minimisation",
    "Data sharing",
    "Geolocation",
    "Parental controls",
    "Profiling",
    "Nudge techniques",
    "Connected toys and devices",
    "Online tools",
)
NOT_HERE = {"Connected toys and devices"}
ARTICLES = (7, 8, 13, 15, 17, 20)


def rows(heading: str) -> list[tuple[str, ...]]:
    section = PAGE.partition(f"\n## {heading}\n")[2].partition("\n## ")[0]
    return [tuple(cell.strip() for cell in row.split("|")[1:-1]) for row in ROW.findall(section)]


def test_every_standard_of_the_code_has_its_row_in_order():
    found = [(int(number), name) for number, name, *_ in rows(CODE)]
    assert found == list(enumerate(STANDARDS, start=1))


def test_every_article_has_its_row():
    assert tuple(int(number) for number, *_ in rows("GDPR")) == ARTICLES


@pytest.mark.parametrize("row", [*rows(CODE), *rows("GDPR")], ids=lambda r: r[1])
def test_what_the_program_does_is_shown_by_a_test(row):
    _, name, does, shown, _ = row
    assert len(does.split()) >= 3
    assert NAMED.search(shown) or name in NOT_HERE


@pytest.mark.parametrize(("file", "name"), sorted(set(NAMED.findall(PAGE))))
def test_a_named_test_exists(file, name):
    assert name in functions_of(ROOT / file)
