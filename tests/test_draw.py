"""A share of a sweep: as large as asked, the same for one seed, and in time every case."""

import subprocess
import sys

import pytest

from tests.draw import HERE, TOGETHER, share_of

IN_EVERY_RUN = (
    "test_access_matrix.py",
    "benchmarks/test_intonation_regression.py",
    "browser/test_first_day.py",
    "faults/test_killed_worker.py",
    "faults/test_storm.py",
)

SWEEP = """
import pytest

@pytest.mark.sweep(1 / 4)
@pytest.mark.parametrize("n", range(20))
def test_each(n): pass

@pytest.mark.parametrize("n", range(3))
def test_no_sweep(n): pass
"""


@pytest.mark.parametrize(
    ("many", "share", "expected"), [(20, 1 / 4, 5), (3, 1 / 4, 1), (7, 1 / 2, 4), (0, 1 / 2, 0)]
)
def test_a_share_is_rounded_up(many, share, expected):
    assert len(share_of(range(many), share, "1")) == expected


def test_one_seed_draws_the_same_and_others_meet_every_case():
    cases = range(20)
    assert share_of(cases, 1 / 4, "7") == share_of(cases, 1 / 4, "7")
    met = set().union(*(share_of(cases, 1 / 4, str(seed)) for seed in range(40)))
    assert met == set(cases)


def collected(folder, *options: str) -> list[str]:
    (folder / "test_sweep.py").write_text(SWEEP)
    command = [sys.executable, "-m", "pytest", "--collect-only", "-q", "-p", "tests.draw"]
    command += ["-p", "no:cacheprovider", "-p", "no:django", "-c", "/dev/null", "--strict-markers"]
    out = subprocess.run(
        [*command, *options, str(folder / "test_sweep.py")],
        capture_output=True, text=True, timeout=60,
    )  # fmt: skip
    assert out.returncode == 0, out.stdout + out.stderr
    return [line for line in out.stdout.splitlines() if "::" in line]


def test_a_run_draws_only_where_it_says_so(tmp_path):
    assert len(collected(tmp_path)) == 23
    drawn = collected(tmp_path, "--draw", "5")
    assert len(drawn) == 5 + 3
    assert drawn == collected(tmp_path, "--draw", "5")


@pytest.mark.parametrize("files", TOGETHER, ids=lambda files: files.name)
def test_files_of_a_sweep_are_there(files):
    for pattern in files.patterns:
        found = list(HERE.glob(pattern))
        assert found, pattern
        assert all(files.has(path) for path in found)
    assert len({each.name for each in TOGETHER}) == len(TOGETHER)


@pytest.mark.parametrize("name", IN_EVERY_RUN)
def test_what_matters_most_is_left_out_of_no_run(name):
    path = HERE / name
    assert path.is_file()
    assert not any(files.has(path) for files in TOGETHER)
    assert "mark.sweep" not in path.read_text()
