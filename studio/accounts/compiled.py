"""Templates that are compiled to Python (Jinja2), for what a page says forty or two hundred times.

Django walks a tree of nodes for every row of a list, which took half of a long list's time. These
escape as Django's do, know the same filters for figures and days, and stand in ``jinja2/``.
"""

from functools import lru_cache
from typing import Any

from django.template import defaultfilters, engines
from django.template.library import import_library
from django.urls import get_script_prefix, get_urlconf, reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext, ngettext
from jinja2 import ChainableUndefined, Environment, nodes, pass_context
from jinja2.ext import InternationalizationExtension
from jinja2.runtime import Context

from .templatetags.sentences import is_settled, pieces, said

ENGINE = "compiled"
LIBRARIES = ("words", "desk")  # whose filters are known, as if they were loaded
FROM_DJANGO = ("capfirst", "truncatechars")
CSRF_INPUT = '<input type="hidden" name="csrfmiddlewaretoken" value="{}">'
ADDRESSES = 20_000  # a year's clips of a large studio


def environment(**options: Any) -> Environment:
    """For the setting ``TEMPLATES``; Django turns escaping on."""
    options |= {"trim_blocks": True, "lstrip_blocks": True}
    options["undefined"] = ChainableUndefined  # what is not there says nothing, as in Django
    made = Environment(**options, extensions=[Sentences])
    made.install_gettext_callables(gettext, ngettext, newstyle=True)  # type: ignore[attr-defined]
    libraries = engines["django"].engine.libraries
    for name in LIBRARIES:
        made.filters |= import_library(libraries[name]).filters
    made.filters |= {name: getattr(defaultfilters, name) for name in FROM_DJANGO}
    made.globals |= {"url": address, "csrf_field": csrf_field}
    return made


class Sentences(InternationalizationExtension):
    """``{% trans %}``, settled when a template is compiled (see ``templatetags/sentences.py``)."""

    def _make_node(self, singular, plural, context, variables, *rest) -> nodes.Output:
        if plural or context or not is_settled():
            return super()._make_node(singular, plural, context, variables, *rest)
        return nodes.Output(
            [
                variables[piece] if at % 2 else nodes.TemplateData(piece)
                for at, piece in enumerate(pieces(said(singular)))
                if piece
            ]
        )


def rendered(name: str, context: dict) -> SafeString:
    """A compiled template with what a page knows."""
    return mark_safe(engines[ENGINE].env.get_template(name).render(context))


@pass_context
def csrf_field(page: Context) -> SafeString:
    """As the tag ``csrf_token``: what a form that is posted has to have."""
    return format_html(CSRF_INPUT, page["csrf_token"])


def address(name: str, *args: object) -> str:
    """As the tag ``url``; an address follows from what is named alone, and so is kept."""
    return _address(name, args, get_urlconf(), get_script_prefix())


@lru_cache(maxsize=ADDRESSES)
def _address(name: str, args: tuple, urlconf: str | None, _prefix: str) -> str:
    return reverse(name, args=args, urlconf=urlconf)
