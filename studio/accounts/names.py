"""A name stands on one line: it goes into a letter's subject, where another would be a header.

Where somebody types one, another line is refused with a sentence. What comes otherwise (a command,
a file's own title, a row from before) is put on one line where its row is written.
"""

import unicodedata
from collections.abc import Iterable

from django import forms
from django.core.exceptions import ValidationError
from django.db import models

from studio.translating import gettext_lazy

LONGEST = 120  # letters
# Line and paragraph separators, and control characters, tabulators and newlines among them.
NOT_IN_A_NAME = {"Cc", "Zl", "Zp"}
SENTENCE = gettext_lazy("A name stands on one line. Write it without line breaks or tabs.")


def is_one_line(text: str) -> bool:
    """Whether nothing in it ends a line or steers a printer.

    >>> is_one_line("Mira Sandholm"), is_one_line("Mira\\nBcc: all@studio.example")
    (True, False)
    """
    return not any(unicodedata.category(letter) in NOT_IN_A_NAME for letter in text)


def in_one_line(text: str) -> str:
    """The text as one line, for what was kept before names were looked at.

    >>> in_one_line("An answer from Mira\\r\\nSandholm")
    'An answer from Mira Sandholm'
    """
    return " ".join("".join(c if is_one_line(c) else " " for c in text).split())


def validate(text: str) -> None:
    if not is_one_line(text):
        raise ValidationError(SENTENCE)


def listed(names: Iterable[object], joined: str = "and") -> str:
    """
    >>> listed(["Ida"]), listed(["Ida", "Otto", "Mira"]), listed(["Ida", "Otto"], "or")
    ('Ida', 'Ida, Otto and Mira', 'Ida or Otto')
    """
    *first, last = [str(name) for name in names] or [""]
    return f"{', '.join(first)} {joined} {last}" if first else last


class NameField(forms.CharField):
    """A person's name as somebody typed it."""

    def __init__(self, **more) -> None:
        super().__init__(max_length=LONGEST, validators=[validate], **more)


class OneLineField(models.CharField):
    """A column for a name or a title, which holds no other line whoever writes it.

    Written means saved, made many at once or updated by a query. Is a ``CharField`` to migrations.
    """

    def pre_save(self, model_instance, add):
        kept = as_stored(super().pre_save(model_instance, add))
        setattr(model_instance, self.attname, kept)
        return kept

    def get_db_prep_save(self, value, connection):
        return super().get_db_prep_save(as_stored(value), connection)

    def deconstruct(self):
        name, _, args, kwargs = super().deconstruct()
        return name, "django.db.models.CharField", args, kwargs


def as_stored(value):
    """As it is, but for what would end a line; queries' expressions are left alone."""
    return in_one_line(value) if isinstance(value, str) and not is_one_line(value) else value
