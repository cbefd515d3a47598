"""The keys that a teacher changed at the desk, kept for every device of theirs.

What can be done by a key, and by which one at first, is one table: ``static/desk/keys.js``. It is
read from there, a row a line, so that an action added there can be changed without a word here.
"""

import json
import re
from functools import lru_cache
from pathlib import Path
from typing import NamedTuple

from django.http import Http404, HttpRequest, JsonResponse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from studio.accounts import access
from studio.accounts.access import PERSON
from studio.accounts.models import Person
from studio.accounts.prepared import Prepared
from studio.review.models import DeskKeys

TABLE = Path(__file__).parents[3] / "static" / "desk" / "keys.js"
ROW = re.compile(
    r'^ +\{ act: "([\w-]+)", keys: (\[(?:"[^"]*"(?:, )?)*\]), words: gettext\("[^"]*"\)'
    r'(?:, page: "(\w+)")?(, fixed: true)? \},$',
    re.M,
)
NAMED = {"Space", "Insert", "Delete", "Home", "End", "PageUp", "PageDown"}
NAMED |= {f"Arrow{way}" for way in ("Left", "Right", "Up", "Down")}
SHIFT = "Shift+"
RENAMED = {"return-pile": "return-batch"}  # as what was changed before calls them
BOTH = "both"
LONGEST = 4000  # characters of all the changed keys together


class Row(NamedTuple):
    """The keys of an action before anything is changed, whether it keeps them, and its page.

    The page is empty for the desk's own; ``both`` are in force on every page.
    """

    keys: list[str]
    fixed: bool
    page: str


class Refused(ValueError):
    """A sentence for the teacher."""


@lru_cache(maxsize=1)
def at_first() -> dict[str, Row]:
    """Every action of the table."""
    rows = ROW.findall(TABLE.read_text(encoding="utf-8"))
    return {act: Row(json.loads(keys), bool(fixed), page) for act, keys, page, fixed in rows}


def changed_by(person: Person) -> dict[str, str]:
    """What a teacher changed and still holds: an action that is gone since is left out."""
    kept, _rest = _kept.first(person=person.pk) or ({}, True)
    kept = {RENAMED.get(act, act): key for act, key in kept.items()}
    return {act: key for act, key in kept.items() if act in at_first()}


def goes_on(person: Person) -> bool:
    """Whether keeping or dropping a mark goes on to the next one; so it is until it is changed."""
    _rest, whether = _kept.first(person=person.pk) or ({}, True)
    return whether


_kept = Prepared(lambda: DeskKeys.objects.filter(person=PERSON).values_list("keys", "goes_on")[:1])


@require_POST
def change(request: HttpRequest) -> JsonResponse:
    """Keep all keys that are changed, in place of what was, or whether a decision goes on.

    422 with a sentence when it cannot be.
    """
    if not access.is_teacher(request.user):
        raise Http404
    try:
        said = _goes_on(request) if "goes_on" in request.POST else _keys(request)
    except Refused as refused:
        return JsonResponse({"said": str(refused)}, status=422)
    DeskKeys.objects.update_or_create(person=request.user, defaults=said)
    return JsonResponse(said)


def _keys(request: HttpRequest) -> dict:
    return {"keys": checked(request.POST.get("keys", ""))}


def _goes_on(request: HttpRequest) -> dict:
    said = request.POST["goes_on"]
    if said not in ("0", "1"):
        raise Refused(_("It was not said whether to go on. Load the page again."))
    return {"goes_on": said == "1"}


def checked(text: str) -> dict[str, str]:
    """The changes that a page sent. Raises :class:`Refused`."""
    if len(text) > LONGEST:
        raise Refused(_("These are too many keys. Load the page again."))
    try:
        keys = json.loads(text)
    except ValueError:
        keys = None
    if not isinstance(keys, dict) or not all(isinstance(key, str) for key in keys.values()):
        raise Refused(_("The keys could not be read. Load the page again."))
    for act, key in keys.items():
        _refuse_what_cannot_be(act, key)
    _refuse_what_clashes(keys)
    return keys


def _refuse_what_cannot_be(act: str, key: str) -> None:
    if act not in at_first():
        raise Refused(_("There is nothing called “%(act)s” to give a key to.") % {"act": act[:40]})
    if at_first()[act].fixed:
        raise Refused(_("Esc keeps what it does."))
    bare = key.removeprefix(SHIFT) or key
    if bare not in NAMED and not (len(bare) == 1 and bare.isprintable() and bare != " "):
        raise Refused(
            _("“%(key)s” cannot be given to anything here. Press another key.") % {"key": key[:20]}
        )


def _refuse_what_clashes(keys: dict[str, str]) -> None:
    """One key does one thing on each page."""
    rows = at_first()
    for page in {row.page for row in rows.values()} - {BOTH}:
        held: set[str] = set()
        for act, own in rows.items():
            for key in ([keys[act]] if act in keys else own.keys) * (own.page in (page, BOTH)):
                if key in held:
                    raise Refused(
                        _("“%(key)s” would do two things. Give one of them another key.")
                        % {"key": key}
                    )
                held.add(key)
