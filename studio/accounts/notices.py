"""Telling people what happened to an account: on their pages until they read it, and by letter."""

from collections.abc import Iterable

from django.conf import settings
from django.db.models import BigIntegerField, QuerySet
from django.utils import timezone

from studio import figures
from studio.translating import gettext_lazy

from . import guardians, letters
from .models import Notice, PasswordLink, Person
from .names import listed
from .notifications import kinds
from .prepared import Given, Prepared


def concerned(person: Person) -> list[Person]:
    """Whom an account concerns: its owner, and whoever answers for that person today."""
    links = guardians.seeing().filter(pupil=person)
    return [person, *Person.objects.filter(pk__in=links.values("guardian")).order_by("pk")]


def tell(person: Person, own: str, others: str, link: PasswordLink | None = None) -> None:
    """Tell the owner (``own``) and the guardians (``others``); a link's earlier notice goes."""
    if link is not None:
        Notice.objects.filter(link=link, read_at=None).delete()
    for to in concerned(person):
        text = own if to == person else others
        _tell(to, text, link)


def tell_each(people: Iterable[Person], text: str, kind: str = kinds.ACCOUNT) -> None:
    """Tell some people the same, each once; ``kind`` is one that nobody can switch off."""
    for to in dict.fromkeys(people):
        if not to.is_active:
            continue
        _tell(to, text, kind=kind)


def _tell(
    to: Person, text: str, link: PasswordLink | None = None, kind: str = kinds.ACCOUNT
) -> None:
    """On her pages, and by letter; what goes on a later day waits for her quiet hours to end."""
    Notice.objects.create(to=to, text=text, link=link, kind=kind)
    if not settings.MAIL or not to.email:
        return
    if kind == kinds.GOING:
        letters.post_to_wait(to, str(kinds.KINDS[kind].title), text)
    else:
        letters.post_about_account(to.email, to.name, text)


def unread(person: Person) -> QuerySet[Notice]:
    return person.notices.filter(read_at=None)


def to_read(person: Person) -> list[Notice]:
    """The same, as a page shows them."""
    return _to_read(person=person.pk)


def note_read(person: Person, pk: int) -> bool:
    """Whether there was such a notice to this person."""
    return bool(unread(person).filter(pk=pk).update(read_at=timezone.now()))


_to_read = Prepared(
    lambda: Notice.objects.filter(to=Given("person", BigIntegerField()), read_at=None)
)

#: Whom to ask where no teacher can help.
OPERATOR = gettext_lazy("whoever runs the studio’s machine")


def when(moment) -> str:
    return figures.date_time(timezone.localtime(moment))


def names(people: Iterable[Person]) -> str:
    """ "A", "A and B", "A, B and C"."""
    return listed(people)
