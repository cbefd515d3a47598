"""What every test relies on: no test reaches this machine's own data folder."""

import os
from collections.abc import Callable, Iterator
from pathlib import Path
from unittest import mock

import pytest
from django.conf import settings
from django.core.management.commands import flush

pytest_plugins = ["tests.cast", "tests.databases", "tests.draw", "tests.servers"]

# Begun first where files run side by side, so that no core stands idle at the end; longest first.
LONGEST = (
    "browser/test_every_form.py",
    "faults/test_storm.py",
    "browser/test_every_page.py",
    "faults/test_backup_drill.py",
    "faults/test_production_ground.py",
    "test_access_matrix.py",
    "browser/test_first_day.py",
    "benchmarks/test_intonation_regression.py",
    "browser/test_story.py",
    "browser/test_phone_clips.py",
    "browser/test_desk_at_speed.py",
    "media/test_time_axis.py",
    "browser/test_drills.py",
    "browser/test_send_edges.py",
    "browser/test_replies.py",
    "media/test_hostile.py",
    "browser/test_said_and_typed.py",
    "browser/test_rotation.py",
    "browser/test_desk_modules.py",
    "browser/test_desk_page.py",
    "media/test_frame_times.py",
    "browser/test_pages.py",
    "browser/test_send.py",
    "faults/test_wrong_clock.py",
    "faults/test_killed_worker.py",
    "browser/test_desk_frames.py",
    "benchmarks/test_follower_regression.py",
    "deploy/test_demo.py",
    "media/test_playable.py",
)
PLACES = {Path(__file__).parent / name: place for place, name in enumerate(LONGEST)}


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """The longest files come first; the order is otherwise as it was."""
    items.sort(key=lambda item: PLACES.get(item.path, len(PLACES)))


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
