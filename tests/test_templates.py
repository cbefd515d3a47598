"""What the content security policy forbids must not be in a template, nor in a page's script."""

import re
from pathlib import Path

import pytest
from django.template.loader import get_template

from studio.accounts.compiled import ENGINE, rendered

STUDIO = Path(__file__).parents[1] / "studio"
TEMPLATES = sorted((STUDIO / "templates").rglob("*.html"))
COMPILED = sorted((STUDIO / "jinja2").rglob("*.html"))
SCRIPTS = sorted(path for path in (STUDIO / "static").rglob("*.js") if "vendor" not in path.parts)
FORBIDDEN = {
    "an inline style": r"\sstyle\s*=",
    "a style element": r"<style\b",
    "an inline handler": r"\son[a-z]+\s*=",
    "an inline script": r"<script(?![^>]*\bsrc=)(?![^>]*type=\"application/json\")",
    "a script address": r"javascript:",
    "another host": r"(?:src|href|action)\s*=\s*[\"'](?:https?:)?//",
}


def by_path(path: Path) -> str:
    return str(path.relative_to(STUDIO))


def test_there_are_templates_and_scripts_to_look_at():
    assert len(TEMPLATES) > 20
    assert len(COMPILED) > 3
    assert len(SCRIPTS) > 3


@pytest.mark.parametrize("path", TEMPLATES, ids=by_path)
def test_a_template_compiles_and_holds_nothing_that_the_policy_forbids(path):
    get_template(str(path.relative_to(STUDIO / "templates")))
    text = path.read_text()
    assert {what for what, pattern in FORBIDDEN.items() if re.search(pattern, text)} == set()


@pytest.mark.parametrize("path", COMPILED, ids=by_path)
def test_so_does_one_that_is_compiled_to_python(path):
    get_template(str(path.relative_to(STUDIO / "jinja2")), using=ENGINE)
    text = path.read_text()
    assert {what for what, pattern in FORBIDDEN.items() if re.search(pattern, text)} == set()


def test_a_compiled_template_escapes_what_it_is_given():
    """As Django's do: ``<b>`` that a person wrote is text."""
    row = ("1", "<b>'\"&", 3)  # a pupil, her name, how many wait
    html = rendered("review/waiting_pupils.html", {"pupils": [row], "chosen": {"pupil": ""}})
    assert "&lt;b&gt;&#39;&#34;&amp; <span" in html


@pytest.mark.parametrize("path", SCRIPTS, ids=by_path)
def test_a_script_writes_no_inline_style_and_runs_no_text(path):
    text = path.read_text()
    found = re.findall(r"setAttribute\(\s*[\"']style|\beval\(|new Function", text)
    assert found == []
