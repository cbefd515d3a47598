"""What everybody would try first at a studio is no password; what merely holds such a word is."""

import pytest
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError

from studio.accounts.password_words import WORDS


@pytest.mark.parametrize(
    "password", ["violin123", "Viola-Lesson", "studio2026!", "octavesoctaves", "My.violin1"[3:]]
)
def test_words_of_the_place_are_refused(password):
    with pytest.raises(ValidationError, match="try first here"):
        validate_password(password)


@pytest.mark.parametrize(
    "password", ["open strings ring", "double stops held long", "violins are red", "x" * 64]
)
def test_a_sentence_with_such_words_is_taken(password):
    validate_password(password)


def test_a_password_may_be_long_and_of_any_signs():
    validate_password("ünïcödé 🎻 and spaces, quite long " * 4)


def test_the_words_are_in_small_letters_without_anything_between():
    assert all(word.isalpha() and word == word.lower() for word in WORDS)
