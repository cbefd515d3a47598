"""Every sentence for a reader goes through Django's translation, or its file is in the list.

``not_translated.txt`` names the files that still say something without: those of operators and
commands, and the pages' scripts. It may only become shorter. How a sentence is said, and how a
language is added, stands in DEVELOPERS.md.
"""

import functools
from pathlib import Path

import pytest

from studio import catalogue
from studio.catalogue import Message
from studio.catalogue.of_python import of_python
from studio.catalogue.of_scripts import of_scripts
from studio.catalogue.of_templates import of_compiled, of_templates
from studio.figures import translation
from studio.management.commands.makemessages import written

NOT_YET = Path(__file__).with_name("not_translated.txt").read_text().split()
INVENTED = "demo/"  # what invented people say, in the language they say it in
LONGEST_LIST = 71


@functools.cache
def bare() -> dict[str, list[tuple[int, str]]]:
    said = {name: catalogue.read(name).bare for name in catalogue.files()}
    return {name: found for name, found in said.items() if found and not name.startswith(INVENTED)}


def test_every_sentence_can_be_translated():
    new = {name: found for name, found in bare().items() if name not in NOT_YET}
    assert new == {}, "say these through translation: DEVELOPERS.md, How a sentence is said"


def test_the_list_of_what_cannot_yet_only_becomes_shorter():
    assert set(NOT_YET) - set(bare()) == set(), "these are done: take them out of the list"
    assert len(NOT_YET) <= LONGEST_LIST


PLANTED = [
    (of_templates, "<p>Three things</p>", "Three things"),
    (of_templates, '<button aria-label="Hear it">+</button>', "Hear it"),
    (of_templates, '<p>{{ name|default:"your teacher" }}</p>', "your teacher"),
    (of_templates, '{% include "x.html" with said="It went well" %}', "It went well"),
    (of_templates, '{% if a %}{% translate "Yes" %}{% else %}Nothing{% endif %}', "Nothing"),
    (of_compiled, "<p>{{ when|day }}: sent</p>", "sent"),
    (of_compiled, '<p title="Sent late">{% trans %}Yes{% endtrans %}</p>', "Sent late"),
    (of_python, 'def f():\n    """It says."""\n    return "Not yet there"', "Not yet there"),
    (of_python, 'x = f"Sent by {who} today"', "Sent by"),
    (of_python, 'x = forms.CharField(label="Tolerance")', "Tolerance"),
    (of_python, 'TABLE = {"a": "one finger"}', "one finger"),
    (of_scripts, 'said.textContent = "Nothing was lost";', "Nothing was lost"),
    (of_scripts, "say(`${count} notes were heard`);", "notes were heard"),
    (of_scripts, "const a = b / 2; // it's\nsay('Not kept yet');", "Not kept yet"),
    (of_scripts, 'button.textContent = "Stop";', "Stop"),
    (of_scripts, '{ act: "x", words: "nearer" }', "nearer"),
    (of_scripts, 'const a = { words: "a span begins" };', "a span begins"),
    (of_scripts, "say(`Take ${take.number}`);", "Take"),
    (of_scripts, 'say(`${gettext("Take")}${many ? `s and ${more} of them` : ""}`);', "of them"),
    (of_scripts, "const html = `<p class='a b'><b>Undo</b></p>`;", "Undo"),
    (of_scripts, 'gettext("One word", `${of} or another`)', "or another"),
]


@pytest.mark.parametrize(("reader", "source", "said"), PLANTED)
def test_a_planted_sentence_is_found(reader, source, said):
    assert any(said in text for _, text in reader(source).bare)


SAID = [
    (of_templates, '<p class="one two">{% translate "One word" %} · {{ x }}</p>', "One word"),
    (
        of_templates,
        "{% blocktranslate with a=b %}At {{ a }} %{% endblocktranslate %}",
        "At %(a)s %%",
    ),
    (of_templates, '<b>{{ x|default:_("no word") }}</b>', "no word"),
    (of_compiled, "{% trans a=b.c %}At {{ a }}{% endtrans %}", "At %(a)s"),
    (of_python, 'x = _("At %(a)s o’clock") % {"a": b}', "At %(a)s o’clock"),
    (of_python, 'log.warning("no word here")\nx = N_("a word here")', "a word here"),
    (of_scripts, 'say(gettext("A word here")); throw new Error("no word here");', "A word here"),
    (
        of_scripts,
        'say(gettext("A word "\n + "here, %(a)s", { a }), "Enter", "a > b");',
        "A word here, %(a)s",
    ),
    (of_scripts, 'made("p", "quiet small", `${gettext("A word")} `); f(`${x} MB`);', "A word"),
]


@pytest.mark.parametrize(("reader", "source", "words"), SAID)
def test_what_is_said_through_translation_is_collected_and_not_found(reader, source, words):
    found = reader(source)
    assert found.bare == []
    assert [message for _, message in found.messages] == [Message(words)]


def test_counts_are_collected_with_their_plurals():
    wanted = {Message("%(count)s mark", "%(count)s marks"), Message("no marks")}
    plural = 'ngettext("%(n)s day", "%(n)s days", n, { n })'
    assert of_scripts(plural).messages == [(1, Message("%(n)s day", "%(n)s days"))]
    for reader, source in (
        (of_templates, '{{ n|count_of:"mark,marks" }}'),
        (of_compiled, '{{ n|count_of("mark,marks") }}'),
        (of_python, 'figures.count(n, "mark", "marks")'),
    ):
        assert {message for _, message in reader(source).messages} == wanted
    plural = (
        "{% blocktranslate count n=x %}{{ n }} day{% plural %}{{ n }} days{% endblocktranslate %}"
    )
    assert of_templates(plural).messages == [(1, Message("%(n)s day", "%(n)s days"))]


def test_a_file_of_messages_keeps_what_was_translated(monkeypatch):
    monkeypatch.setattr(catalogue, "files", lambda: {"figures/times.py": None})
    fresh = written("de")
    assert 'msgid "%(days)s day"\nmsgid_plural "%(days)s days"\nmsgstr[0] ""' in fresh
    done = fresh.replace('msgid "Monday"\nmsgstr ""', 'msgid "Monday"\nmsgstr "Montag"')
    assert done != fresh
    assert written("de", done) == done


def test_figures_and_days_follow_the_language(monkeypatch):
    """German writes a comma and ``4. Dezember 2026``. Source: Unicode CLDR, locale de."""
    from datetime import date

    from studio import figures

    words = {
        ".": ",",
        "December": "Dezember",
        "%(day)s %(month)s %(year)s": "%(day)s. %(month)s %(year)s",
        "no marks": "keine Stellen",
    }
    german = staticmethod(lambda text: words.get(text, text))
    monkeypatch.setattr(translation._Translator, "one", german)
    assert figures.long_date(date(2026, 12, 4)) == "4. Dezember 2026"
    assert (figures.hertz(440.0), figures.number(2.50)) == ("440,0 Hz", "2,5")
    assert (figures.seconds(0.64), figures.place(72.04, 1)) == ("0,6 s", "1:12,0")
    assert figures.parse_place("1:12,0") == 72.0
    assert figures.decimal(2.5, 1) == "2.5"  # for scripts
    assert figures.count(0, "mark", "marks") == "keine Stellen"
