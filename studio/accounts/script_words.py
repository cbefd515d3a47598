"""What the pages' scripts say in another language than the studio's first: Django's own catalogue.

A page in such a language brings it ahead of its modules (``{% words_of_scripts %}``), and
``static/translation.js`` asks it. In the first language there is nothing to bring.
"""

import hashlib
from functools import lru_cache

from django.conf import settings
from django.contrib.auth.decorators import login_not_required
from django.http import Http404, HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import get_language, override
from django.views.decorators.http import require_safe
from django.views.i18n import JavaScriptCatalog

YEAR_S = 365 * 24 * 60 * 60


class Catalogue(JavaScriptCatalog):
    """The messages of ``studio/locale`` that scripts say."""

    packages = ("studio",)


def addresses() -> list[str]:
    """Of the catalogue of whoever reads now: one, or none where the scripts' own words are said."""
    language = get_language() or settings.LANGUAGE_CODE
    if not settings.USE_I18N or language == settings.LANGUAGE_CODE:
        return []
    return [reverse("script_words", args=[language, _mark(language)])]


@login_not_required
@require_safe
def script_words(request: HttpRequest, language: str, mark: str) -> HttpResponse:
    """The catalogue; its address changes with it, so that a browser may keep it."""
    if language not in dict(settings.LANGUAGES):
        raise Http404
    response = HttpResponse(_content(language), content_type="text/javascript; charset=utf-8")
    if mark == _mark(language):
        response["Cache-Control"] = f"public, max-age={YEAR_S}, immutable"
    return response


@lru_cache(maxsize=20)
def _content(language: str) -> bytes:
    with override(language):
        return Catalogue().get(HttpRequest()).content


@lru_cache(maxsize=20)
def _mark(language: str) -> str:
    return hashlib.sha256(_content(language)).hexdigest()[:12]
