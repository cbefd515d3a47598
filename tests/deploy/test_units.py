"""The systemd units and the compose file start what ``serve`` starts.

systemd's own checker reads the units. No container runs here: of the compose file only what it
says is checked.
"""

import configparser
import shutil
import subprocess

import pytest
import yaml

from studio.serving import children
from tests.deploy.processes import ROOT

UNITS = ROOT / "deploy" / "systemd"
PROGRAM = "/usr/local/lib/studio"


def service(name: str) -> configparser.SectionProxy:
    unit = configparser.RawConfigParser(strict=True)
    unit.optionxform = str
    path = UNITS / f"studio-{name}.service"
    unit.read(path if path.exists() else UNITS / f"studio-{name}@.service")
    return unit["Service"]


@pytest.mark.parametrize("child", children(), ids=lambda child: child.name)
def test_unit_starts_what_serve_starts(child):
    unit = service(child.name)
    command = unit["ExecStart"].replace("%i", "").replace("%%", "%").split()
    assert command == [f"{PROGRAM}/.venv/bin/python", *child.command[1:]]
    assert int(unit.get("Nice", "0")) == child.nice
    given = dict(pair.split("=") for pair in unit.get("Environment", "").split())
    assert given == child.environment


def test_every_process_of_serve_has_its_unit():
    names = {path.stem.removeprefix("studio-").rstrip("@") for path in UNITS.glob("*.service")}
    assert names == {"prepare"} | {child.name for child in children()}


def test_systemd_finds_no_fault(tmp_path):
    """The units are checked with a program that exists here in the place of Python's."""
    for path in UNITS.iterdir():
        text = path.read_text().replace(f"{PROGRAM}/.venv/bin/python", shutil.which("true"))
        (tmp_path / path.name).write_text(text)
    (tmp_path / "studio-listening@2.service").symlink_to("studio-listening@.service")
    done = subprocess.run(
        ["systemd-analyze", "verify", "--man=no", *sorted(map(str, tmp_path.glob("*[!@].*")))],
        capture_output=True,
        text=True,
        timeout=60,
    )
    assert [line for line in done.stderr.splitlines() if "studio" in line] == []
    assert done.returncode == 0


@pytest.mark.parametrize("child", children(), ids=lambda child: child.name)
def test_container_starts_what_serve_starts(child):
    service = yaml.safe_load((ROOT / "deploy" / "compose.yaml").read_text())["services"][child.name]
    said = service["command"]
    command = said.split() if isinstance(said, str) else said
    nice = ["nice", "-n", str(child.nice)] if child.nice else []
    assert command == [*nice, "python", *child.command[1:]]
    assert child.environment.items() <= service["environment"].items()
    assert service["depends_on"] == {"prepare": {"condition": "service_completed_successfully"}}


def test_compose_file_names_only_volumes_and_services_that_it_has():
    file = yaml.safe_load((ROOT / "deploy" / "compose.yaml").read_text())
    for service in file["services"].values():
        assert set(service.get("depends_on", [])) <= file["services"].keys()
        for volume in service.get("volumes", []):
            source = volume.partition(":")[0]
            assert source in file["volumes"] or source.startswith("./")
