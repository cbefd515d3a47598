"""Every page in a language of longer words: what is said without translation, what is cut off."""

import re
from collections.abc import Iterator
from pathlib import Path
from zoneinfo import available_timezones

import pytest
from django.apps import apps
from django.db.models import CharField, JSONField, TextField

from studio.clips import services
from tests import addresses as matrix
from tests.browser import every_page, measured
from tests.live import live_web

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

world = matrix.world  # the fixture: the arguments of every address
SHARE = 1 / 8  # of a person's pages, where a run draws
NARROW = {"width": 360, "height": 780}
UNTRANSLATED = (Path(__file__).parent / "untranslated.js").read_text()
# The same in every language: this service, formats, programs; the names of time zones' places are
# no sentences; what was frozen with a return is in the words of its day; a round's intervals are
# typed as they are named.
NAMES = {"studio", "example", "http", "https", "csv", "xml", "musicxml", "pdf", "html"}
NAMES |= {"python", "django", "sqlite", "intonation", "unisons", "fourths", "tenths"}
NAMES |= {word.lower() for zone in available_timezones() for word in re.findall(r"[A-Za-z]+", zone)}


@pytest.fixture(scope="module")
def web(django_db_setup, tmp_path_factory):
    folder = tmp_path_factory.mktemp("pseudo")
    mail = {"EMAIL_URL": "smtp://127.0.0.1:9", "MAIL_FROM": "letters@studio.example"}
    with live_web(folder, DJANGO_SETTINGS_MODULE="tests.pseudo_settings", **mail) as studio:
        yield studio


def words_of_rows() -> list[str]:
    """Every word that stands in a text of a row: names, titles, what somebody wrote."""
    found = set(NAMES)
    for model in apps.get_models():
        fields = [
            field.name
            for field in model._meta.concrete_fields
            if isinstance(field, CharField | TextField | JSONField) and not field.choices
        ]
        rows = model.objects.values_list(*fields) if fields else ()
        for text in texts_in([list(row) for row in rows]):
            found |= {word.lower() for word in re.findall(r"[^\W\d_]+", text)}
    return sorted(found)


def texts_in(value: object) -> Iterator[str]:
    """The texts of a value as JSON has it, without keys and names of kinds."""
    if isinstance(value, dict | list):
        for each in value.values() if isinstance(value, dict) else value:
            yield from texts_in(each)
    elif isinstance(value, str) and not re.fullmatch(r"[a-z0-9_.-]*", value):
        yield value


@pytest.mark.sweep(2 / 5)
@pytest.mark.parametrize("part", ["teacher", "pupil", "guardian", "operator", "anonymous"])
def test_every_page_is_translated_and_nothing_is_cut_off(
    cast, world, windows, drawn, part, monkeypatch
):
    monkeypatch.setattr(services, "dispatch", lambda pk, kind: True)
    more = every_page.furnish(cast)
    known = words_of_rows()
    who = cast.people().get(part)
    page = windows.enter(who, viewport=NARROW) if who else windows(viewport=NARROW).new_page()
    found, seen = [], set()
    for address in drawn([*every_page.addresses(part, world), *more[part]], SHARE):
        answer = page.goto(address)
        if page.url in seen:
            continue
        seen.add(page.url)
        if answer.status == 404:  # what another's data folder has
            continue
        if answer.status >= 400:
            found.append(f"{address}: {answer.status}")
            continue
        page.evaluate(measured.MEASURES)
        page.evaluate(UNTRANSLATED)
        page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
        page.evaluate(measured.SETTLED)
        said = page.evaluate("(known) => untranslated(known)", known)
        cut = page.evaluate(measured.MEASURE, ["sticking", "cutOff"])
        found += [f"{address}: {what}" for what in [*said, *cut]]
    assert seen
    assert not found, "\n".join(found)


PLANTED = """() => {
  const words = document.createElement("p");
  document.querySelector("main").replaceChildren(words);
  words.textContent = "[Séénd] it to Mira";
  Object.assign(words.style, { width: "3em", overflow: "hidden", whiteSpace: "nowrap" });
}"""


def test_what_is_wrong_is_found(windows):
    page = windows(viewport=NARROW).new_page()
    page.goto("/log-in/")
    page.evaluate(measured.MEASURES)
    page.evaluate(UNTRANSLATED)
    assert page.evaluate("(known) => untranslated(known)", ["studio"]) == []
    page.evaluate(PLANTED)
    assert page.evaluate("(known) => untranslated(known)", ["mira"]) == []  # short words are let be
    found = page.evaluate("(known) => untranslated(known)", ["studio"])
    assert found == ["p.: Mira: “[Séénd] it to Mira”"]
    assert any("wide in" in what for what in page.evaluate(measured.MEASURE, ["cutOff"]))
