"""What templates say is settled when they are compiled, in the studio's one language, or later."""

import pytest
from django.conf import settings
from django.template import Context, Template, engines
from django.utils import translation

from studio.accounts import compiled
from studio.accounts.templatetags import sentences

SENT = (
    "{% blocktranslate with a=who|upper b=day %}{{ a }} sent it on {{ b }}.{% endblocktranslate %}"
)
SENT_COMPILED = "{% trans a=who|upper, b=day %}{{ a }} sent it on {{ b }}.{% endtrans %}"
BACKWARDS = {"%(a)s sent it on %(b)s.": "On %(b)s %(a)s did, 100 %%.", "Sent": "Did"}
SAYS = {"who": "<ida>", "day": "Friday"}


@pytest.fixture
def other_words(monkeypatch):
    """A language whose order is another."""
    other = {words: BACKWARDS.get(words, words) for words in BACKWARDS}
    monkeypatch.setattr(sentences, "gettext", lambda words: other.get(words, words))


def html(source: str) -> str:
    return Template(source).render(Context(SAYS))


def test_values_are_escaped_and_stand_in_the_order_of_the_language(other_words):
    assert html(SENT) == "On Friday &lt;IDA&gt; did, 100 %."
    template = engines[compiled.ENGINE].env.from_string(SENT_COMPILED)
    assert template.render(SAYS) == "On Friday &lt;IDA&gt; did, 100 %."


def test_a_sentence_is_settled_once_and_costs_no_looking_up_afterwards(monkeypatch):
    page = Template(SENT + '{% translate "Sent" %}')
    monkeypatch.setattr(translation._trans, "gettext", lambda words: pytest.fail("looked up"))
    assert page.render(Context(SAYS)) == "&lt;IDA&gt; sent it on Friday.Sent"


def test_with_a_second_language_each_reader_is_asked(monkeypatch):
    monkeypatch.setattr(sentences, "is_settled", lambda: False)
    page = Template(SENT + '{% translate "Sent" %}')
    monkeypatch.setattr(translation._trans, "gettext", lambda words: BACKWARDS.get(words, words))
    assert page.render(Context(SAYS)).startswith("On Friday &lt;IDA&gt; did, 100 %.")


def test_a_plural_follows_its_number():
    plural = (
        "{% blocktranslate count n=n %}{{ n }} day{% plural %}{{ n }} days{% endblocktranslate %}"
    )
    said = Template(plural)
    assert [said.render(Context({"n": n})) for n in (1, 2)] == ["1 day", "2 days"]


def test_english_alone_looks_nothing_up():
    assert not settings.USE_I18N
    assert [code for code, _ in settings.LANGUAGES] == [settings.LANGUAGE_CODE]
