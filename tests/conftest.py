"""What every test relies on: no test reaches this machine's own data folder."""

import gc
import os
from collections.abc import Callable, Iterator
from pathlib import Path
from unittest import mock

import pytest
from django.conf import settings
from django.core.management.commands import flush
from hypothesis import HealthCheck
from hypothesis import settings as hypothesis_settings

from studio.__main__ import LOOK_FOR_CIRCLES

pytest_plugins = [
    *("tests.cast", "tests.databases", "tests.draw", "tests.object_store", "tests.servers"),
]

# On a machine that does much else an example may take any time.
hypothesis_settings.register_profile(
    "patient", deadline=None, suppress_health_check=[HealthCheck.too_slow]
)
hypothesis_settings.load_profile("patient")

# Begun first where files run side by side, so that no core stands idle at the end; longest first.
LONGEST = (
    "faults/test_storm.py",
    "benchmarks/test_intonation_regression.py",
    "faults/test_production_ground.py",
    "browser/test_first_day.py",
    "faults/test_backup_drill.py",
    "web/test_slow_lines.py",
    "deploy/test_runbook.py",
    "browser/test_send_edges.py",
    "faults/test_restore_beside_a_studio.py",
    "browser/test_desk_page.py",
    "browser/test_every_page.py",
    "browser/test_every_form.py",
    "browser/test_desk_at_speed.py",
    "browser/test_desk_pace.py",
    "browser/test_story.py",
    "intonation/estimation/test_cents_of_single_notes.py",
    "media/test_time_axis.py",
    "deploy/test_releases.py",
    "deploy/test_permissions.py",
    "browser/test_phone_clips.py",
    "faults/test_killed_copy.py",
    "media/test_hostile.py",
    "test_access_matrix.py",
    "intonation/detection/test_notes_found.py",
    "deploy/test_demo.py",
    "browser/test_replies.py",
    "test_odd_input.py",
    "faults/test_killed_worker.py",
    "media/test_faults.py",
    "review/test_queries_do_not_grow.py",
    "browser/test_desk_opens.py",
    "operations/test_doctor.py",
    "review/enclosures/test_enclosures.py",
    "deploy/test_serving.py",
    "clips/upkeep/test_repair.py",
    "accounts/test_shut_out.py",
    "drills/test_reading.py",
    "browser/test_logged_out.py",
    "intonation/estimation/test_cents_of_pairs.py",
    "browser/test_picture_choice.py",
    "browser/test_said_and_typed.py",
    "benchmarks/test_follower_regression.py",
    "faults/test_killed_tools.py",
    "upgrade/test_from_earlier.py",
)
FAILED = "FAILED_TESTS"  # the variable with the name of the file that lists them
WHY_LETTERS = 200
PLACES = {Path(__file__).parent / name: place for place, name in enumerate(LONGEST)}


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """The longest files come first; the order is otherwise as it was."""
    items.sort(key=lambda item: PLACES.get(item.path, len(PLACES)))


def pytest_collection_finish() -> None:
    """What was collected stays to the end: it is not looked through for circles again and again."""
    gc.freeze()
    gc.set_threshold(*LOOK_FOR_CIRCLES)


def pytest_runtest_logreport(report: pytest.TestReport) -> None:
    """Name what failed where deploy/test asks for it, a test process that died included."""
    place = os.environ.get(FAILED)
    if report.failed and place and "PYTEST_XDIST_WORKER" not in os.environ:
        crash = getattr(report.longrepr, "reprcrash", None)
        lines = (crash.message if crash else report.longreprtext).strip().splitlines() or [""]
        why = lines[0] if crash else lines[-1]
        with Path(place).open("a") as names:
            names.write(f"{report.nodeid} ({report.when}): {why[:WHY_LETTERS]}\n")


def pytest_sessionfinish(session: pytest.Session) -> None:
    """A skipped test shows nothing, so it counts as a failure of the run."""
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")
    kept_out = [*reporter.stats.get("skipped", []), *reporter.stats.get("xfailed", [])]
    if kept_out and session.exitstatus == pytest.ExitCode.OK:
        session.exitstatus = pytest.ExitCode.TESTS_FAILED
        for report in kept_out:
            reporter.write_line(f"\nnot run, so the run has failed: {report.nodeid}", red=True)


@pytest.fixture(scope="session", autouse=True)
def _nothing_is_made_when_tables_are_emptied() -> Iterator[None]:
    """Else Django writes rows for every model's permissions, which nothing here uses, each time."""
    with mock.patch.object(flush, "emit_post_migrate_signal"):
        yield


@pytest.fixture
def seen(request) -> Callable[[str], None]:
    """Say what was seen of a fault, for the table that ``deploy/measure faults`` prints."""
    return lambda words: request.node.user_properties.append(("seen", words))


@pytest.fixture
def data_folder() -> Path:
    """The data folder of this test run; processes that a test starts inherit it."""
    assert os.environ["STUDIO_DATA"] == str(settings.STUDIO_DATA)
    return settings.STUDIO_DATA
