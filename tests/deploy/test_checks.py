"""The start-up checks say what is missing and how to mend it."""

import shutil
from types import SimpleNamespace

import pytest
from django.core.checks import run_checks

from studio import checks
from studio.media import Problem


def ids() -> set[str]:
    return {message.id for message in run_checks()}


def test_nothing_is_wrong_here():
    assert not {found for found in ids() if found.startswith("studio.E")}


@pytest.mark.parametrize("code", list(checks.TOOLS))
def test_each_problem_of_the_tools_has_a_number_and_a_hint(monkeypatch, code):
    problem = Problem(code, "error", "What is wrong.", "What to do.")
    monkeypatch.setattr(checks, "check_tools", lambda: [problem])
    found = [m for m in run_checks() if m.id == checks.TOOLS[code][1]]
    assert [(m.msg, m.hint) for m in found] == [("What is wrong.", "What to do.")]


def test_missing_ffmpeg_is_an_error(monkeypatch):
    monkeypatch.setenv("FFMPEG", "/nowhere/ffmpeg")
    assert "studio.E001" in ids()


def test_full_disk_is_a_warning_with_figures(monkeypatch, settings):
    settings.MAX_UPLOAD_BYTES = 1_000_000_000
    monkeypatch.setattr(shutil, "disk_usage", lambda path: SimpleNamespace(free=500_000_000))
    found = next(m for m in run_checks() if m.id == "studio.W001")
    assert "has 0.5 GB free" in found.msg
    assert "3 GB" in found.msg


@pytest.mark.parametrize(
    ("address", "https", "warned"),
    [("0.0.0.0", False, True), ("0.0.0.0", True, False), ("127.0.0.1", False, False)],
)
def test_unencrypted_pages_on_a_network_are_warned_of(settings, address, https, warned):
    settings.ADDRESS, settings.HTTPS = address, https
    assert ("studio.W002" in ids()) == warned
