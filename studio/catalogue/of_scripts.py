"""Scripts of the pages, cut into comments, texts, templates and the rest.

A text is for a reader if it has two words and more, if it is one word with a capital, or if a word
stands beside a value; and if it stands outside of ``gettext(…)`` and ``ngettext(…)``
(``static/translation.js``). A template with tags is read as the page that it becomes.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass, field

from .found import Found
from .of_python import CODE, SENTENCE, VALUE
from .of_templates import of_page

# In this order: what begins first is what it is. A slash after a value divides; else it is a regex.
TOKEN = re.compile(
    r"""(?P<comment>//[^\n]*|/\*.*?\*/)
    |(?P<text>"(?:[^"\\\n]|\\.)*"|'(?:[^'\\\n]|\\.)*')
    |(?P<template>`)
    |(?P<regex>(?<=[(,=:\[!&|?{};\s])/(?![/*\s])(?:[^/\\\n\[]|\\.|\[(?:[^\]\\\n]|\\.)*\])+/[a-z]*)""",
    re.S | re.X,
)
CALL = re.compile(r"\b(gettext|ngettext)\(\s*$")
FORMS = {"gettext": 1, "ngettext": 2}
NEXT, JOINED = re.compile(r"^\s*,\s*$"), re.compile(r"^\s*\+\s*$")
UNREAD = re.compile(  # what a developer, a style sheet or the browser reads, by what stands before
    r"(?:\bError|DOMException|console\.\w+|querySelector\w*|closest|startsWith|matches|matchMedia|import|from)\(?\s*$"
    r"|\b(?:method|className|font|id|class|ink\.search)\s*[:=]\s*$|[=!]==\s*$"
    r"|\b(?:mark|emit|Event|get|made\(\"\w+\",|setAttribute\(\"(?!aria-label|title)[\w-]+\",)\(?\s*$"
)
ELEMENT = r"(?:input|textarea|details|select|form|template|a|button|svg|video|audio)"
SELECTOR = rf"{ELEMENT}(?:[.\[:][^,]*)?"
NO_WORDS = re.compile(  # selectors, names of events, lengths of a drawing
    rf"^{SELECTOR}(?:,\s*(?:{SELECTOR}|[.\[][^,]*))*$"
    rf"|^:|^\w+:[\w-]+$|px\b|^[\w-]*\[|^{VALUE} (?:Hz|MB|kB|mm|%)$|^\w+/\w+, "
)
# Where even one word that begins small is read.
SHOWN = re.compile(r"(?:\b(?:words|textContent|title|placeholder)\s*[:=]|\"aria-label\",)\s*$")
NEAR = 60  # signs before a text that tell what it is for
TAG = re.compile(r"</?[a-z][^>]*>")
ONE_WORD = re.compile(r"^[A-Z][a-z]+[.:…]?$")
COUNT = rf"(?:{VALUE}|\b\d+)"
BESIDE = re.compile(rf"{COUNT}[^\w]* [^\W\d_]{{2,}}|[^\W\d_]{{2,}}[.,:;]? [^\w]*{COUNT}")
EDGED = re.compile(r"^(?:\W* [a-z]{2,}[a-z ]*|[a-z ]*[a-z]{2,} )$")  # ", and ", " or "
NAMES = {  # of keys, headers and attributes, as the browser has them
    *("Escape", "Tab", "Enter", "Space", "Backspace", "Delete", "Insert", "Home", "End", "Dead"),
    *("Process", "Unidentified", "Shift", "Control", "Alt", "Meta", "Vary", "Location"),
    *("Esc", "checked"),
}


@dataclass(slots=True)
class Token:
    """A text or a template: where, what it says with a mark for each value, and those values."""

    start: int
    end: int
    said: str
    before: str  # what is no text, since the last one
    near: str  # the same and the text before it
    is_template: bool = False
    places: list[str] = field(default_factory=list)


@dataclass(slots=True)
class _Call:
    name: str
    line: int
    forms: list[str]


def of_scripts(source: str, first: int = 1) -> Found:
    """What a module of a page says; ``first`` is the number of its first line."""
    found, call, calls = Found(), None, []
    for token in tokens(source):
        line = first + source.count("\n", 0, token.start)
        if not token.is_template and (began := CALL.search(token.before)):
            call = _Call(began[1], line, [token.said])
            calls.append(call)
        elif not token.is_template and call and JOINED.match(token.before):
            call.forms[-1] += token.said
        elif not token.is_template and call and _is_a_form(call, token):
            call.forms.append(token.said)
        else:
            call = None
            _bare(found, line, token)
    for each in calls:
        found.add(each.line, *each.forms)
    return found


def _is_a_form(call: _Call, token: Token) -> bool:
    return bool(NEXT.match(token.before)) and len(call.forms) < FORMS[call.name]


def tokens(source: str) -> Iterator[Token]:
    """The texts and templates of a script, in their order."""
    end, token = 0, TOKEN.search(source)
    while token:
        before, end = source[end : token.start()], token.end()
        near = source[max(token.start() - NEAR, 0) : token.start()]
        if token.lastgroup == "text":
            said = re.sub(r"\\(.)", r"\1", token[0][1:-1])
            yield Token(token.start(), end, said, before, near)
        elif token.lastgroup == "template":
            said, places, end = _template(source, token.start())
            yield Token(token.start(), end, said, before, near, True, places)
        token = TOKEN.search(source, end)


def _template(source: str, start: int) -> tuple[str, list[str], int]:
    """A template from its first sign: what it says, its places, and where it has ended."""
    said, places, at = [], [], start + 1
    while source[at] != "`":
        if source.startswith("${", at):
            end = _end_of_place(source, at + 2)
            places.append(source[at + 2 : end])
            said.append(VALUE)
            at = end + 1
        else:
            at += source[at] == "\\"
            said.append(source[at])
            at += 1
    return "".join(said), places, at + 1


def _end_of_place(source: str, at: int) -> int:
    depth = 0
    while depth or source[at] != "}":
        token = TOKEN.match(source, at) if source[at] in "\"'`" else None
        depth += {"{": 1, "}": -1}.get(source[at], 0)
        if token is None:
            at += 1
        elif token.lastgroup == "template":
            at = _template(source, at)[2]
        else:
            at = token.end()
    return at


def _bare(found: Found, line: int, token: Token) -> None:
    """Note what is said outside of translation, in a text or in the places of a template."""
    if TAG.search(token.said):
        of_page(found, token.said, line)
    elif SHOWN.search(token.near) or (
        not UNREAD.search(token.near) and is_for_a_reader(token.said)
    ):
        found.say(line, token.said)
    for place in token.places:
        inner = of_scripts(place, line)
        found.messages += inner.messages
        found.bare += inner.bare


def is_for_a_reader(said: str) -> bool:
    """Whether a text reads as words on a page."""
    if CODE.search(said) or NO_WORDS.search(said) or said.strip() in NAMES:
        return False
    return any(shape.search(said) for shape in (SENTENCE, ONE_WORD, BESIDE, EDGED))
