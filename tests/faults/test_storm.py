"""A small storm of kills on a running studio; the long one is tests/benchmarks/storm.py."""

import pytest

from tests.benchmarks.storm import MUST_BE_NOTHING, storm
from tests.faults.storming import SHARES

CLIPS = 6
SEED = 7


@pytest.mark.worker
@pytest.mark.fault(
    1,
    f"a storm: {CLIPS} clips come while pool processes, workers, decoders, probers, web, the "
    "periodic process, the supervisor, Redis and PostgreSQL are killed at random",
    "each clip is heard and playable once; nothing half made, nothing left running",
)
def test_a_storm_of_kills_loses_doubles_and_leaves_nothing(seen):
    figures = storm(CLIPS, SEED, "production", every_s=1.5, kills=len(SHARES), hurry=True)
    assert {name: figures[name] for name in MUST_BE_NOTHING if figures[name]} == {}
    assert set(figures["kills"]) == set(SHARES)
    assert figures["recovery_s"]["n"] >= 1, "no kill cut anything off"
    seen(
        f"{sum(figures['kills'].values())} kills, {figures['recovery_s']['n']} of which cut work "
        f"off; {figures['files']} files, all as their rows say; {figures['seconds']:.0f} s"
    )
