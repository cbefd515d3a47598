"""What a teacher writes, as safe HTML: bold, italic, list lines, and nothing else.

``**bold**``, ``*italic*``, and lines that begin with ``- `` are all that is understood; the marks
hold within one line. Everything else is text and is escaped. The lines of a text stay lines by the
style of ``.prose``, so a text without any of the marks looks as it always did.
"""

import re
from itertools import groupby

from django.utils.html import escape
from django.utils.safestring import SafeString, mark_safe

_BOLD = re.compile(r"\*\*(?=[^\s*])([^*]*(?:\*(?!\*)[^*]*)*?(?<=\S))\*\*")
_ITALIC = re.compile(r"(?<![\w*])\*(?=[^\s*])([^*]*(?<=[^\s*]))\*(?![\w*])")
_ITEM = "- "


def formatted(text: str) -> SafeString:
    """A text as HTML that may stand in a block element.

    >>> formatted("**Well** <done>")
    '<b>Well</b> &lt;done&gt;'
    """
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    pieces = []
    for is_list, group in groupby(lines, key=lambda line: line.startswith(_ITEM)):
        said = list(group)
        pieces.append(_list(said) if is_list else "\n".join(_inline(line) for line in said))
    return mark_safe("".join(pieces))  # every line went through escape


def _list(lines: list[str]) -> str:
    items = "".join(f"<li>{_inline(line.removeprefix(_ITEM).strip())}</li>" for line in lines)
    return f"<ul>{items}</ul>"


def _inline(line: str) -> str:
    """What is bold is set apart before italic is looked for, so that the two cannot cross."""
    pieces = _BOLD.split(line)
    return "".join(f"<b>{_italic(p)}</b>" if n % 2 else _italic(p) for n, p in enumerate(pieces))


def _italic(text: str) -> str:
    """Escaped first: no star is part of an entity, and what is put in then holds no text."""
    return _ITALIC.sub(r"<i>\1</i>", escape(text))
