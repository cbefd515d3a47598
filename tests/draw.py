"""Great sweeps: with ``--draw SEED`` a run takes a share of their cases, another with each seed.

Each case of a sweep costs a browser window, a studio or a recording, and there are hundreds. A run
of everything draws some, so that every case is met within some runs; without ``--draw`` all are
taken. What was left out is counted as deselected, and the seed that is printed draws the same once
more.

A test with parameters says ``@pytest.mark.sweep(share)``. Files in which test after test tries the
same part of the studio are a sweep together; they stand in :data:`TOGETHER`.
"""

import functools
import math
import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import pytest

MARKER = (
    "sweep(share, name): where a run says --draw, a share of the cases is drawn, 0 < share < 1; "
    "the cases are those of one test, or of all that have the name"
)


@dataclass(frozen=True, slots=True)
class Files:
    """Files whose tests are a sweep together; the first that fits a file counts."""

    name: str
    share: float
    patterns: tuple[str, ...]  # below tests/

    def has(self, path: Path) -> bool:
        return any(path.match(f"{HERE.name}/{pattern}") for pattern in self.patterns)


HERE = Path(__file__).parent
PAGES = (
    *("batch", "drills", "hear", "pages", "picture_choice", "put_aside", "replies", "rotation"),
    *("said_and_typed", "story", "unsuitable_drills", "waiting_rows"),
)
SENDING = ("send*", "recorder_kept", "offline")
DOORS = ("doors", "logged_out", "second_step")
PROCESSES = ("demo", "nginx", "permissions", "releases", "runbook", "serving")
BACKUPS = ("encrypted_backup", "repair", "restore_drill")
FAMILIES = ("family", "erasing", "ending_lessons", "copy_from_disk")
LONG_WORK = ("rehearing_at_work", "killed_copy", "killed_erasure")
FAULTS = ("at_once", "killed_tools", "poison", "wrong_clock")
WATCHING = ("doctor", "logs", "metrics")
WEB_PROCESSES = ("memory_and_stop", "sharing")
BENCHMARKS = ("ear_scoring", "follower_regression")
FOUND = (
    *("common_bow", "invariants", "merging_while_found", "notes_found", "spectral_evidence"),
    *("unisons", "voicing"),
)
NOTES = tuple(f"intonation/detection/test_{name}.py" for name in FOUND)
MADE = ("manners", "overlays", "first_steps", "fingering", "generate")
ORDERED = (*(f"notation/test_{name}.py" for name in MADE), "drills/test_fingers.py")
# Never here: who may do what, the first day, the storm, killed workers, how well is heard.
TOGETHER = (
    Files("the desk", 1 / 8, ("browser/test_desk_*.py",)),
    Files("sending", 1 / 6, tuple(f"browser/test_{name}.py" for name in SENDING)),
    Files("coming in and out", 1 / 6, tuple(f"browser/test_{name}.py" for name in DOORS)),
    Files("nobody is shut out", 1 / 4, ("accounts/test_shut_out.py",)),
    Files("other pages in a browser", 1 / 8, tuple(f"browser/test_{name}.py" for name in PAGES)),
    Files("PostgreSQL and Redis fail", 1 / 8, ("faults/test_production_ground.py",)),
    Files("a restore beside a studio", 1 / 4, ("faults/test_restore_beside_a_studio.py",)),
    Files("backups", 1 / 4, tuple(f"clips/upkeep/test_{name}.py" for name in BACKUPS)),
    Files("the studio's processes", 1 / 8, tuple(f"deploy/test_{name}.py" for name in PROCESSES)),
    Files("nothing is left", 1 / 10, ("rights/test_no_byte_is_left.py",)),
    Files("copies", 1 / 5, ("rights/copies/test_*.py",)),
    Files("families in a browser", 1 / 4, tuple(f"browser/test_{name}.py" for name in FAMILIES)),
    Files("long work is cut off", 1 / 8, tuple(f"faults/test_{name}.py" for name in LONG_WORK)),
    Files("backups under load", 1 / 8, ("faults/test_backup_drill.py",)),
    Files("a recording by command", 1 / 8, ("test_analyse_command.py",)),
    Files("pages take turns", 1 / 3, ("web/test_turns.py",)),
    Files("watching it run", 1 / 4, tuple(f"operations/test_{name}.py" for name in WATCHING)),
    Files("other faults", 1 / 3, tuple(f"faults/test_{name}.py" for name in FAULTS)),
    Files("web processes", 1 / 2, tuple(f"web/test_{name}.py" for name in WEB_PROCESSES)),
    Files("rows of one studio", 1 / 2, ("accounts/test_rows_to_their_studios.py",)),
    Files("slow lines", 1 / 3, ("web/test_slow_lines.py",)),
    Files("recordings of every kind", 1 / 6, ("media/test_*.py",)),
    Files("what is measured by", 1 / 3, tuple(f"benchmarks/test_{name}.py" for name in BENCHMARKS)),
    Files("drills made to order", 1 / 5, ORDERED),
    Files("notes and cents", 1 / 6, (*NOTES, "intonation/estimation/test_cents_*.py")),
)


def pytest_addoption(parser: pytest.Parser) -> None:
    says = "take a share of each great sweep, drawn by this seed; without it, every case"
    parser.addoption("--draw", type=int, metavar="SEED", help=says)


def pytest_configure(config: pytest.Config) -> None:
    config.addinivalue_line("markers", MARKER)


def pytest_report_header(config: pytest.Config) -> str | None:
    seed = config.getoption("draw")
    return None if seed is None else f"great sweeps: a share of each, drawn by --draw {seed}"


def share_of(cases: Sequence, share: float, seed: str) -> list:
    """As many of ``cases`` as the share says, rounded up, in their order; the same for one seed."""
    many = math.ceil(len(cases) * share)
    places = random.Random(seed).sample(range(len(cases)), many)
    return [cases[place] for place in sorted(places)]


def sweep_of(item: pytest.Item) -> tuple[str, float] | None:
    """The sweep that a test is a case of, by name, and its share; a test's own word comes first."""
    if marker := item.get_closest_marker("sweep"):
        return marker.kwargs.get("name", item.nodeid.partition("[")[0]), marker.args[0]
    return _sweep_of_file(item.path)


@functools.cache
def _sweep_of_file(path: Path) -> tuple[str, float] | None:
    return next(((files.name, files.share) for files in TOGETHER if files.has(path)), None)


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    seed = config.getoption("draw")
    if seed is None:
        return
    sweeps: dict[tuple[str, float], list[pytest.Item]] = {}
    for item in items:
        if sweep := sweep_of(item):
            sweeps.setdefault(sweep, []).append(item)
    left_out: set[pytest.Item] = set()
    for (name, share), cases in sweeps.items():
        left_out |= set(cases) - set(share_of(cases, share, f"{seed} {name}"))
    config.hook.pytest_deselected(items=[item for item in items if item in left_out])
    items[:] = [item for item in items if item not in left_out]


@pytest.fixture
def drawn(request: pytest.FixtureRequest) -> Callable[[Sequence, float], list]:
    """``drawn(cases, share)``: what a test goes through in one go, under the same rule."""
    seed = request.config.getoption("draw")

    def draw(cases: Sequence, share: float) -> list:
        whole = seed is None
        return list(cases) if whole else share_of(cases, share, f"{seed} {request.node.nodeid}")

    return draw
