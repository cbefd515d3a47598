"""The systemd units start what ``serve`` starts, and systemd itself finds no fault in them."""

import configparser
import shutil
import subprocess

import pytest

from studio.serving import children
from tests.deploy.processes import ROOT

UNITS = ROOT / "deploy" / "systemd"
PROGRAM = "/usr/local/lib/studio"


def service(name: str) -> configparser.SectionProxy:
    unit = configparser.RawConfigParser(strict=True)
    unit.optionxform = str
    unit.read(UNITS / f"studio-{name}.service")
    return unit["Service"]


@pytest.mark.parametrize("child", children(), ids=lambda child: child.name)
def test_unit_starts_what_serve_starts(child):
    unit = service(child.name)
    command = unit["ExecStart"].replace("%%", "%").split()
    assert command == [f"{PROGRAM}/.venv/bin/python", *child.command[1:]]
    assert int(unit.get("Nice", "0")) == child.nice
    given = dict(pair.split("=") for pair in unit.get("Environment", "").split())
    assert given == child.environment


def test_every_process_of_serve_has_its_unit():
    names = {path.stem.removeprefix("studio-") for path in UNITS.glob("*.service")}
    assert names == {"prepare"} | {child.name for child in children()}


def test_systemd_finds_no_fault(tmp_path):
    """The units are checked with a program that exists here in the place of Python's."""
    for path in UNITS.iterdir():
        text = path.read_text().replace(f"{PROGRAM}/.venv/bin/python", shutil.which("true"))
        (tmp_path / path.name).write_text(text)
    done = subprocess.run(
        ["systemd-analyze", "verify", "--man=no", *sorted(map(str, tmp_path.iterdir()))],
        capture_output=True,
        text=True,
        timeout=60,
    )
    assert [line for line in done.stderr.splitlines() if "studio" in line] == []
    assert done.returncode == 0
