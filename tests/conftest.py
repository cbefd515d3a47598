"""What every test relies on: no test reaches this machine's own data folder."""

import os
from collections.abc import Callable
from pathlib import Path

import pytest
from django.conf import settings

pytest_plugins = ["tests.cast", "tests.servers"]


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
