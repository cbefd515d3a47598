"""Great sweeps: with ``--draw SEED`` a run takes a share of their cases, another with each seed.

Each case of a sweep costs a browser window or a recording, and there are hundreds. A run of
everything draws some, so that every case is met within some runs; without ``--draw`` all are taken.
What was left out is counted as deselected, and the seed that is printed draws the same once more.
"""

import math
import random
from collections.abc import Callable, Sequence

import pytest

MARKER = (
    "sweep(share, name): where a run says --draw, a share of the cases is drawn, 0 < share < 1; "
    "the cases are those of one test, or of all that have the name"
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


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    seed = config.getoption("draw")
    if seed is None:
        return
    sweeps: dict[str, list[pytest.Item]] = {}
    for item in items:
        if marker := item.get_closest_marker("sweep"):
            test = item.nodeid.partition("[")[0]
            sweeps.setdefault(marker.kwargs.get("name", test), []).append(item)
    left_out: set[pytest.Item] = set()
    for name, cases in sweeps.items():
        share = cases[0].get_closest_marker("sweep").args[0]
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
