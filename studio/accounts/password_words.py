"""Words that everybody would try first at a place like this one: no password by themselves.

A password that is one or two of them, with any digits and marks between and around, is refused.
The list belongs to this project; the names of its people are refused by likeness, in Django's own
validator.
"""

import re

from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

WORDS = (
    *("studio", "strings", "string", "violin", "viola", "fiddle", "bow", "rosin", "music"),
    *("lesson", "lessons", "practice", "practise", "teacher", "pupil", "guardian", "student"),
    *("doublestop", "doublestops", "octave", "octaves", "sixths", "thirds", "intonation"),
    *("welcome", "password", "letmein", "secret"),
)
ONE_OR_TWO = re.compile(f"({'|'.join(WORDS)}){{1,2}}")


class WordsOfThePlace:
    """A validator of passwords for Django's settings."""

    def validate(self, password: str, user=None) -> None:
        letters = "".join(letter for letter in password.lower() if letter.isalpha())
        if ONE_OR_TWO.fullmatch(letters):
            raise ValidationError(
                _(
                    "This is what somebody would try first here. Add words that have nothing to do "
                    "with music or lessons."
                ),
                code="words_of_the_place",
            )

    def get_help_text(self) -> str:
        return _("Not only words such as violin, lesson or studio.")
