"""Templates, of Django's kind and of the compiled one, read by their own lexers and HTML's parser.

A template becomes the page it would be with a mark in place of every value; what then has words
beside the marks was not given to translation.
"""

import re
from html.parser import HTMLParser

from django.template.base import Lexer, TokenType
from django.utils.translation import trim_whitespace
from jinja2 import Environment

from .found import Found

VALUE = "\N{OBJECT REPLACEMENT CHARACTER}"
READ = {"title", "aria-label", "alt", "placeholder", "label", "aria-description", "aria-valuetext"}
SILENT = {"script", "style", "svg"}
SENTENCE = re.compile(r"[^\W\d_]{2,}[,.:;]? +[^\W\d_]")  # two words, for what may be a name as well
CONSTANT = re.compile(r"""(?<!_\()("[^"]*"|'[^']*')""")
GIVEN_TO = re.compile(r"""\|(?:default|default_if_none|yesno|add|join):("[^"]*"|'[^']*')""")
COUNTED = re.compile(r"""count_of[:(]"([^",]*),([^",]*)\"""")
MARKED = re.compile(r"""_\(("[^"]*"|'[^']*')\)""")
TRANSLATED = re.compile(r"""^translate\s+("[^"]*"|'[^']*')""")
NAMES_OF_FILES = {"url", "static", "load", "extends", "if", "elif", "block", "compiled", "import"}


def of_templates(source: str) -> Found:
    """A template of Django's."""
    found, page, block, is_class = Found(), [], None, False
    for token in Lexer(source).tokenize():
        line, text = token.lineno or 1, token.contents
        if block is not None:
            block = _within(found, block, token.token_type, text)
        elif token.token_type == TokenType.TEXT:
            page.append("" if is_class else text)
        elif token.token_type == TokenType.VAR:
            page.append(VALUE)
            _value(found, line, text)
        elif token.token_type == TokenType.BLOCK:
            name = text.split()[0]
            if name in ("block", "endblock"):
                is_class = text.endswith("_class")
            if name in ("blocktranslate", "blocktrans"):
                block = (line, [""], "trimmed" in text.split())
            if name in ("comment", "verbatim"):
                block = (line, None, False)
            if given := TRANSLATED.match(text):
                found.add(line, given[1][1:-1])
            elif name not in NAMES_OF_FILES:
                _value(found, line, text, sentences=True)
            page.append(VALUE if "translate" in name else "")
    of_page(found, "".join(page))
    return found


def _within(found: Found, block: tuple, kind: TokenType, text: str) -> tuple | None:
    """Go on with what stands between ``blocktranslate`` and its end, or in a comment."""
    line, forms, trimmed = block
    if kind == TokenType.BLOCK and text.startswith("end"):
        if forms is not None:
            found.add(line, *(map(trim_whitespace, forms) if trimmed else forms))
        return None
    if forms is not None and kind == TokenType.BLOCK and text == "plural":
        forms.append("")
    elif forms is not None:
        forms[-1] += f"%({text})s" if kind == TokenType.VAR else text.replace("%", "%%")
    return block


def _value(found: Found, line: int, text: str, sentences: bool = False) -> None:
    """Words in a value: for a filter that may say them, or in the arguments of a tag."""
    for one, many in COUNTED.findall(text):
        found.count(line, one, many)
    for words in MARKED.findall(text):
        found.add(line, words[1:-1])
    text = COUNTED.sub("", MARKED.sub("", text))
    given = CONSTANT.findall(text) if sentences else GIVEN_TO.findall(text)
    for words in given:
        if SENTENCE.search(words) or ((words[1].isupper() or "," in words) and not sentences):
            found.say(line, words[1:-1])


def of_compiled(source: str) -> Found:
    """A template that is compiled to Python."""
    found, page, inside, tokens = Found(), [], [], list(Environment().lex(source))
    forms: list[str] | None = None
    for at, (line, kind, text) in enumerate(tokens):
        if kind in ("block_begin", "variable_begin"):
            inside = []
        elif kind in ("block_end", "variable_end"):
            said, first = "".join(inside).strip(), "".join(inside).split()[:1]
            if forms is None:
                page.append(VALUE if kind == "variable_end" or first == ["trans"] else "")
                _value(found, line, said)
                forms = [""] if first == ["trans"] else None
            elif kind == "variable_end":
                forms[-1] += f"%({said})s"
            elif first == ["pluralize"]:
                forms.append("")
            elif first == ["endtrans"]:
                found.add(line, *forms)
                forms = None
            if kind == "variable_end" and first and not tokens[at][2].startswith("-"):
                for words in re.findall(r"""default\(("[^"]*"|'[^']*')""", said):
                    found.say(line, words[1:-1])
        elif kind == "data" and forms is not None:
            forms[-1] += text.replace("%", "%%")
        elif kind == "data":
            page.append(text)
        else:
            inside.append(text)
    of_page(found, "".join(page))
    return found


def of_page(found: Found, page: str, first: int = 1) -> None:
    """The words of a page; ``first`` is the number of its first line."""
    reader = _Reader(found, first)
    reader.feed(page)
    reader.close()


class _Reader(HTMLParser):
    """Finds words in a page's text and in the attributes that are read out or shown."""

    def __init__(self, found: Found, first: int) -> None:
        super().__init__()
        self.found, self.silent, self.lineno = found, "", first

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag in SILENT:
            self.silent = tag
        for name, value in attrs:
            button = tag == "input" and name == "value" and ("type", "submit") in attrs
            shown = name in READ or button
            if value and (shown or (name.startswith("data-") and SENTENCE.search(value))):
                self.found.say(self.getpos()[0], value)

    def handle_endtag(self, tag: str) -> None:
        if tag == self.silent:
            self.silent = ""

    def handle_data(self, data: str) -> None:
        if not self.silent:
            self.found.say(self.getpos()[0], data)


__all__ = ["of_compiled", "of_page", "of_templates"]
