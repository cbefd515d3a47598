"""Sentences that a module keeps by name, to be said later and for whoever reads then."""

from django.conf import settings
from django.utils.translation import gettext_lazy as _lazy


def gettext_lazy(words: str) -> str:
    """As Django's, once there is a second language; until then the words, which cost nothing.

    What it gives is a text, and can be joined, compared and stored as one where there is one
    language alone. With more, what is stored or joined is said by ``str`` at that moment.
    """
    return _lazy(words) if settings.USE_I18N else words
