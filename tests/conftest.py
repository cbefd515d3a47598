"""What every test relies on: no test reaches this machine's own data folder."""

import os
from collections.abc import Callable
from pathlib import Path

import pytest
from django.conf import settings

pytest_plugins = ["tests.cast", "tests.servers"]

# The files that take longest, begun first, so that no process is still at one when the others are
# through. Only the order follows from this list.
LONGEST = (
    "benchmarks/test_intonation_regression.py",
    "browser/test_every_page.py",
    "media/test_time_axis.py",
    "faults/test_production_ground.py",
    "test_analyse_command.py",
    "faults/test_storm.py",
    "faults/test_backup_drill.py",
    "faults/test_killed_worker.py",
    "deploy/test_serving.py",
    "browser/test_replies.py",
    "browser/test_story.py",
    "faults/test_poison.py",
)


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    here = Path(__file__).parent

    def place(item: pytest.Item) -> int:
        name = item.path.relative_to(here).as_posix()
        return LONGEST.index(name) if name in LONGEST else len(LONGEST)

    items.sort(key=place)  # the rest stays in its order


def pytest_sessionfinish(session: pytest.Session) -> None:
    """A skipped test shows nothing, so it counts as a failure of the run."""
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")
    kept_out = [*reporter.stats.get("skipped", []), *reporter.stats.get("xfailed", [])]
    if kept_out and session.exitstatus == pytest.ExitCode.OK:
        session.exitstatus = pytest.ExitCode.TESTS_FAILED
        for report in kept_out:
            reporter.write_line(f"\nnot run, so the run has failed: {report.nodeid}", red=True)


@pytest.fixture
def seen(request) -> Callable[[str], None]:
    """Say what was seen of a fault, for the table that ``deploy/measure faults`` prints."""
    return lambda words: request.node.user_properties.append(("seen", words))


@pytest.fixture
def data_folder() -> Path:
    """The data folder of this test run; processes that a test starts inherit it."""
    assert os.environ["STUDIO_DATA"] == str(settings.STUDIO_DATA)
    return settings.STUDIO_DATA
