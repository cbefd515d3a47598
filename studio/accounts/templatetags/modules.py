"""What a module imports, said to the browser before it has read the module itself.

Else each module is asked for once the one above it has come: on a slow line, one wait a storey.
"""

import posixpath
import re
from functools import lru_cache
from pathlib import Path

from django import template
from django.conf import settings
from django.contrib.staticfiles import finders
from django.templatetags.static import static
from django.utils.html import format_html_join
from django.utils.safestring import SafeString

register = template.Library()

# What is imported when it is first used, with import(), is not wanted before.
IMPORT = re.compile(r"""^\s*(?:import|export)\s[^"'();]*["'](\.[^"']+)["']""", re.MULTILINE)


@register.simple_tag
def preload_imports(*names: str) -> SafeString:
    """``{% preload_imports "desk/desk.js" %}``: a link for each module that these bring along."""
    return _links(names, settings.STATIC_URL, settings.STORAGES["staticfiles"]["BACKEND"])


@lru_cache(maxsize=100)
def _links(names: tuple[str, ...], _address: str, _storage: str) -> SafeString:
    """They are dozens, and the same for as long as the program runs."""
    wanted = sorted(set().union(*map(imports_of, names)) - set(names))
    links = ((static(name),) for name in wanted)
    return format_html_join("\n", '<link rel="modulepreload" href="{}">', links)


@lru_cache(maxsize=100)
def imports_of(name: str) -> frozenset[str]:
    """The modules that one imports, and those in turn, by their names among the static files."""
    found, left = set(), [name]
    while left:
        module = left.pop()
        for leads_to in IMPORT.findall(_source(module)):
            other = posixpath.normpath(posixpath.join(posixpath.dirname(module), leads_to))
            if other not in found:
                found.add(other)
                left.append(other)
    return frozenset(found)


def _source(name: str) -> str:
    path = finders.find(name)
    if path is None:
        raise LookupError(f"there is no static file {name}; look where it is imported")
    return Path(path).read_text("utf-8")
