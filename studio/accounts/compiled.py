"""Templates that are compiled to Python (Jinja2), for what a page says forty or two hundred times.

Django walks a tree of nodes for every row of a list, which took half of a long list's time. These
escape as Django's do, know the same filters for figures and days, and stand in ``jinja2/``.
"""

from functools import lru_cache
from typing import Any

from django.template import defaultfilters, engines
from django.urls import get_script_prefix, get_urlconf, reverse
from django.utils.safestring import SafeString, mark_safe
from jinja2 import Environment

from .templatetags import words

ENGINE = "compiled"
FROM_DJANGO = ("capfirst", "truncatechars")
ADDRESSES = 20_000  # a year's clips of a large studio


def environment(**options: Any) -> Environment:
    """For the setting ``TEMPLATES``; Django turns escaping on."""
    made = Environment(trim_blocks=True, lstrip_blocks=True, **options)
    made.filters |= words.register.filters
    made.filters |= {name: getattr(defaultfilters, name) for name in FROM_DJANGO}
    made.globals["url"] = address
    return made


def rendered(name: str, context: dict) -> SafeString:
    """A compiled template with what a page knows."""
    return mark_safe(engines[ENGINE].env.get_template(name).render(context))


def address(name: str, *args: object) -> str:
    """As the tag ``url``; an address follows from what is named alone, and so is kept."""
    return _address(name, args, get_urlconf(), get_script_prefix())


@lru_cache(maxsize=ADDRESSES)
def _address(name: str, args: tuple, urlconf: str | None, _prefix: str) -> str:
    return reverse(name, args=args, urlconf=urlconf)
