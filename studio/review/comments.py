"""What a teacher says at a moment of a clip: added, changed, deleted, and shown.

:func:`formatted` makes safe HTML of it. ``**bold**``, ``*italic*``, and lines that begin with
``- `` are all that is understood; the marks hold within one line. Everything else is text and is
escaped. The lines of a text stay lines by the style of ``.prose``, so a text without any of the
marks looks as it always did.
"""

import re
from dataclasses import dataclass
from itertools import groupby

from django.db import transaction
from django.utils import timezone
from django.utils.html import escape
from django.utils.safestring import SafeString, mark_safe

from studio.accounts.models import Person
from studio.notation.naming import short_name

from .changes import Conflict, lock_unreturned, with_plain_newlines
from .models import Comment, Review


@dataclass(frozen=True, slots=True)
class CommentText:
    """What a comment says: kind, text, its moment or span in seconds, and the note it is about."""

    kind: str
    text: str
    start_s: float
    end_s: float | None = None
    score_ref: str = ""


@transaction.atomic
def add_comment(review: Review, author: Person, said: CommentText, form_key: str = "") -> Comment:
    """Add a comment; the same ``form_key`` twice makes one comment, with the later words."""
    lock_unreturned(review)
    fields = {
        "author": author,
        "kind": said.kind,
        "text": said.text,
        "start_s": said.start_s,
        "end_s": said.end_s,
        "score_ref": said.score_ref,
    }
    if not form_key:
        return Comment.objects.create(review=review, **fields)
    comment, made = Comment.objects.get_or_create(review=review, form_key=form_key, defaults=fields)
    if not made and comment.author == author and comment.version == 1 and _differs(comment, said):
        # The answer to the first press was lost, and the words were changed before the next.
        return edit_comment(comment, said, version=1)
    return comment


@transaction.atomic
def edit_comment(
    comment: Comment, said: CommentText, version: int, was: str | None = None
) -> Comment:
    """Change a comment, if it is the ``version`` that was read, or says what it ``was``.

    Raises
    ------
    Conflict
        When it was edited in the meantime.
    """
    lock_unreturned(comment.review)
    standing = Comment.objects.get(pk=comment.pk)
    if was is not None and with_plain_newlines(standing.text) == with_plain_newlines(was):
        version = standing.version
    changed = Comment.objects.filter(pk=comment.pk, version=version).update(
        kind=said.kind,
        text=said.text,
        start_s=said.start_s,
        end_s=said.end_s,
        score_ref=said.score_ref,
        version=version + 1,
        edited_at=timezone.now(),
    )
    comment.refresh_from_db()
    if not changed:
        raise Conflict(comment.text)
    return comment


@transaction.atomic
def delete_comment(comment: Comment) -> None:
    lock_unreturned(comment.review)
    comment.delete()


def _differs(comment: Comment, said: CommentText) -> bool:
    names = ("kind", "text", "start_s", "end_s", "score_ref")
    return any(getattr(comment, name) != getattr(said, name) for name in names)


def note_names(review: Review) -> dict[str, str]:
    """Every written note's id with its name and bar; empty where the clip answers no page."""
    page = review.answers.version.page if review.answers else None
    if page is None:
        return {}
    return {item.id: f"{short_name(item)}, bar {item.bar}" for item in page.written}


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
