"""Scripts of the pages, cut into comments, texts and the rest.

A text is for a reader if it has two words and more and stands outside of ``_(…)`` and ``n_(…)``.
"""

import re

from .found import Found
from .of_python import CODE, SENTENCE, VALUE

# In this order: what begins first is what it is. A slash after a value divides; else it is a regex.
TOKEN = re.compile(
    r"""(?P<comment>//[^\n]*|/\*.*?\*/)
    |(?P<text>"(?:[^"\\\n]|\\.)*"|'(?:[^'\\\n]|\\.)*')
    |(?P<template>`(?:[^`\\]|\\.)*`)
    |(?P<regex>(?<=[(,=:\[!&|?{};\s])/(?![/*\s])(?:[^/\\\n\[]|\\.|\[(?:[^\]\\\n]|\\.)*\])+/[a-z]*)""",
    re.S | re.X,
)
CALL = re.compile(r"\b(_|n_)\(\s*$")
SECOND = re.compile(r"^\s*,\s*$")
PLACE = re.compile(r"\$\{(?:[^{}]|\{[^{}]*\})*\}")
UNREAD = re.compile(r"(?:\bError|console\.\w+|querySelector\w*|closest|matches|import|from)\(?\s*$")


def of_scripts(source: str) -> Found:
    """What a module of a page says."""
    found, end, waiting = Found(), 0, ""
    for token in TOKEN.finditer(source):
        kind, before = token.lastgroup, source[end : token.start()]
        end = token.end()
        if kind not in ("text", "template"):
            continue
        line, text = source.count("\n", 0, token.start()) + 1, token[0][1:-1]
        called = CALL.search(before)
        if waiting and SECOND.match(before):
            found.add(line, waiting, text)
        elif called and called[1] == "_":
            found.add(line, text)
        elif not called:
            said = PLACE.sub(VALUE, text)
            if SENTENCE.search(said) and not CODE.search(said) and not UNREAD.search(before):
                found.say(line, said)
        waiting = text if called and called[1] == "n_" else ""
    return found
