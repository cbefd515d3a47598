"""Collect every sentence into ``studio/locale/LANGUAGE/LC_MESSAGES``: ``django.po`` and, of the
pages' scripts, ``djangojs.po``.

In place of Django's own, which needs a program of the system, and does not know the compiled
templates, counts with their nouns, and sentences joined over lines. What was translated stays.
"""

import re
from collections.abc import Callable, Iterator
from pathlib import Path

from django.conf import settings
from django.core.management.base import BaseCommand, CommandParser

from studio import catalogue
from studio.catalogue import Message

DOMAINS: dict[str, Callable[[str], bool]] = {
    "django": lambda name: not name.startswith("static/"),
    "djangojs": lambda name: name.startswith("static/"),
}
HEAD = 'msgid ""\nmsgstr ""\n"Content-Type: text/plain; charset=UTF-8\\n"\n"Language: {}\\n"\n'
ENTRY = re.compile(r'^((?:msgctxt .+\n)?msgid ".+")\n(?:msgid_plural .*\n)?((?:msgstr.*\n)+)', re.M)


class Command(BaseCommand):
    help = "Collect the sentences of the studio for one language, such as de."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("-l", "--locale", required=True, help="a language, such as de")

    def handle(self, *args: object, **options: str) -> None:
        locale = options["locale"]
        folder = Path(settings.LOCALE_PATHS[0]) / locale / "LC_MESSAGES"
        folder.mkdir(parents=True, exist_ok=True)
        for domain in DOMAINS:
            path = folder / f"{domain}.po"
            before = path.read_text() if path.exists() else ""
            path.write_text(written(locale, before, domain))
            self.stdout.write(f"{path}: translate it, then run compilemessages.")


def collected(domain: str) -> dict[Message, list[str]]:
    """Every message, and where it is said."""
    found: dict[Message, list[str]] = {}
    for name in filter(DOMAINS[domain], catalogue.files()):
        for line, message in catalogue.read(name).messages:
            found.setdefault(message, []).append(f"{name}:{line}")
    return found


def written(locale: str, before: str = "", domain: str = "django") -> str:
    """The file of a language; what ``before`` had translated is kept."""
    known = {found[1]: found[2] for found in ENTRY.finditer(before)}
    head = before.split("\n\n")[0] + "\n" if before else HEAD.format(locale)
    all_of_it = collected(domain)
    forms = {message.singular: message for message in all_of_it if message.plural}
    entries = [
        "\n".join(_entry(forms.get(message.singular, message), places, known))
        for message, places in all_of_it.items()
        if message.plural or message.singular not in forms
    ]
    return "\n\n".join([head.rstrip("\n"), *entries]) + "\n"


def _entry(message: Message, places: list[str], known: dict[str, str]) -> Iterator[str]:
    yield f"#: {' '.join(places[:5])}"
    yield "#, python-format" if "%(" in message.singular else "#."
    name = f"msgid {_quoted(message.singular)}"
    if message.context:
        name = f"msgctxt {_quoted(message.context)}\n{name}"
    yield name
    if message.plural:
        yield f"msgid_plural {_quoted(message.plural)}"
    empty = 'msgstr[0] ""\nmsgstr[1] ""' if message.plural else 'msgstr ""'
    yield known.get(name, empty).rstrip("\n")


def _quoted(text: str) -> str:
    escaped = text.replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n")
    return f'"{escaped}"'
