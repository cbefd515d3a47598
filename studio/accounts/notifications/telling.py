"""Telling somebody something, once: a row for the page, and for the letter that may follow."""

from collections.abc import Iterable
from dataclasses import dataclass

from django.conf import settings
from django.utils import timezone

from studio.accounts.models import (
    Membership,
    Notification,
    NotificationChoice,
    Person,
    Studio,
    current,
)

from . import schedule
from .kinds import Kind, kind_named, optional


@dataclass(frozen=True, slots=True)
class Choice:
    """Where somebody wants to be told of a kind."""

    on_page: bool
    by_letter: bool


def tell(
    to: Person,
    kind: str,
    *,
    key: str,
    about: Person,
    studio: Studio,
    path: str,
    by: Person | None = None,
    what: str = "",
) -> bool:
    """Tell one person, where she wants to be told; the same ``key`` again tells her nothing.

    Call it in the transaction of what happened. In the page it stands at once; a letter comes at
    the person's own pace and outside her quiet hours. What is told depends on the kind and on
    whether she is the pupil whom it is ``about``.

    Parameters
    ----------
    kind : a name of an optional kind of the registry, such as ``kinds.CAUTION``
    key : names what happened, up to 100 letters, such as ``set-12``
    about : the pupil whose lessons it is about, in ``studio``
    path : the page on which she reads more, as ``reverse`` gives it
    by : who did it, where the sentence names somebody
    what : a title that the sentence names

    Returns
    -------
    bool
        Whether she was told now.

    Raises
    ------
    ValueError
        For a kind that is not known, or that is not told so.
    """
    known = kind_named(kind)
    if not to.is_active or not path:
        return False
    chosen = choices_of(to)[known.name]
    now = timezone.now()
    letter = chosen.by_letter and sends_letters(to)
    _, is_new = Notification.objects.get_or_create(
        to=to,
        key=key,
        defaults={
            **{"kind": known.name, "about": about, "by": by, "studio": studio},
            **{"what": what, "path": path, "created_at": now, "on_page": chosen.on_page},
            "letter_due_at": schedule.due_at(schedule.times_of(to), now) if letter else None,
        },
    )
    return is_new


def tell_each(people: Iterable[Person], kind: str, **told) -> int:
    """Tell some people the same, each once; how many were told now."""
    return sum(tell(person, kind, **told) for person in dict.fromkeys(people))


def sends_letters(person: Person) -> bool:
    """Whether letters are sent here, and the person has an address for them."""
    return bool(settings.MAIL and person.email)


def choices_of(person: Person) -> dict[str, Choice]:
    """What the person wants of each optional kind, by its name."""
    rows = {row.kind: row for row in NotificationChoice.objects.filter(person=person)}
    return {kind.name: _choice(kind, rows.get(kind.name)) for kind in optional()}


def choose(person: Person, kind: str, *, on_page: bool, by_letter: bool) -> None:
    """Keep what the person wants of one kind; letters that were to come and are unwanted do not.

    Raises
    ------
    ValueError
        For a kind that is not known, or not optional.
    """
    name = kind_named(kind).name
    said = {"on_page": on_page, "by_letter": by_letter}
    NotificationChoice.objects.update_or_create(person=person, kind=name, defaults=said)
    if not by_letter:
        waiting = Notification.objects.filter(to=person, kind=name, letter_due_at__isnull=False)
        waiting.update(letter_due_at=None)


def roles_of(person: Person) -> set[str]:
    """As whom the person is told things today."""
    held = Membership.objects.filter(current(), person=person)
    return set(held.values_list("role", flat=True))


def _choice(kind: Kind, row: NotificationChoice | None) -> Choice:
    if row is None:
        return Choice(on_page=True, by_letter=kind.by_letter)
    return Choice(row.on_page, row.by_letter)
