"""The pinned requirements hold what the code imports, nothing by address, all by hash."""

import ast
import re
import sys
import tomllib
from importlib.metadata import packages_distributions
from pathlib import Path

import pytest

from tests.deploy.processes import ROOT

FILES = (
    "deploy/requirements.txt",
    "deploy/requirements-test.txt",
    "deploy/requirements-reference.txt",
)


def plain(name: str) -> str:
    """A distribution's name as PEP 503 normalises it."""
    return re.sub(r"[-_.]+", "-", name).lower()


def pins(path: str) -> dict[str, str]:
    text = (ROOT / path).read_text()
    return dict(re.findall(r"^([a-z0-9-]+)==(\S+) \\$", text, re.MULTILINE))


def asked_for(table: list[str]) -> set[str]:
    return {plain(re.match(r"[\w.-]+", line)[0]) for line in table}


def project() -> dict:
    return tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]


def third_party(folder: Path) -> set[str]:
    """The top-level modules imported below a folder, Python's own and ours left out."""
    found = set()
    for path in folder.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.Import):
                found |= {alias.name.split(".")[0] for alias in node.names}
            elif isinstance(node, ast.ImportFrom) and node.level == 0:
                found.add(node.module.split(".")[0])
    return found - set(sys.stdlib_module_names) - {"studio", "sample_media", "tests"}


def test_everything_asked_for_is_pinned():
    wanted = asked_for(project()["dependencies"])
    assert wanted
    assert wanted <= pins(FILES[0]).keys()
    tests = asked_for(project()["optional-dependencies"]["test"])
    assert tests | wanted <= pins(FILES[1]).keys()
    beside = asked_for(project()["optional-dependencies"]["reference"])
    assert beside | wanted <= pins(FILES[2]).keys()


@pytest.mark.parametrize("path", FILES[1:])
def test_what_is_tested_and_measured_are_the_versions_that_are_served(path):
    assert pins(FILES[0]).items() <= pins(path).items()


def test_no_test_needs_the_libraries_measured_beside():
    heavy = asked_for(project()["optional-dependencies"]["reference"]) - {"soundfile"}
    assert heavy
    assert not heavy & pins(FILES[1]).keys()


@pytest.mark.parametrize("path", FILES)
def test_every_pin_has_a_hash_and_none_an_address(path):
    text = (ROOT / path).read_text()
    entries = re.split(r"\n(?=[a-z0-9])", text.strip())
    assert len(entries) == len(pins(path))
    assert not [entry for entry in entries if "--hash=sha256:" not in entry]
    assert "://" not in text


def test_the_studio_imports_only_what_is_served_with_it():
    """Nothing that it, or the maker of the demo's clips, imports may come with the tests alone."""
    homes = packages_distributions()
    served = pins(FILES[0])
    missing = {
        module
        for module in third_party(ROOT / "studio") | third_party(ROOT / "sample_media")
        if not any(plain(home) in served for home in homes.get(module, []))
    }
    assert not missing
