"""Cents and ratios, by the published table, and in one place of the program."""

import re
from pathlib import Path

import numpy as np
import pytest

from studio.theory import OCTAVE_CENTS, RELATIVE_PER_CENT, as_ratio, in_cents

STUDIO = Path(__file__).parents[2] / "studio"
BY_HAND = re.compile(r"1200(\.0)?\s*\*\s*(np|math)?\.?log2?\(|/\s*1200(\.0)?\s*\)")


@pytest.mark.parametrize(
    ("ratio", "cents"),
    # Ellis, in Helmholtz, On the Sensations of Tone, 1885, App. XX, sect. D
    [(2 / 1, 1200.0), (3 / 2, 701.955), (5 / 4, 386.314), (6 / 5, 315.641), (81 / 80, 21.506)],
)
def test_sizes_are_those_of_the_table(ratio, cents):
    assert in_cents(ratio) == pytest.approx(cents, abs=5e-4)
    assert as_ratio(cents) == pytest.approx(ratio, rel=1e-6)


def test_arrays_give_arrays():
    ratios = np.array([0.5, 1.0, 3.0])
    assert in_cents(ratios) == pytest.approx([-1200.0, 0.0, 1901.955], abs=5e-4)
    assert as_ratio(in_cents(ratios)) == pytest.approx(ratios)


def test_a_cent_is_its_share_of_an_octave():
    assert as_ratio(1.0) - 1.0 == pytest.approx(RELATIVE_PER_CENT, rel=1e-3)
    assert as_ratio(OCTAVE_CENTS) == 2.0


def test_nobody_writes_the_formula_again():
    found = [
        f"{path.relative_to(STUDIO)}: {line.strip()}"
        for path in STUDIO.rglob("*.py")
        if path != STUDIO / "theory" / "cents.py"
        for line in path.read_text().splitlines()
        if BY_HAND.search(line) and "``" not in line and "·" not in line and "^(" not in line
    ]
    assert found == []
