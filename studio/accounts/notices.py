"""Telling people what happened to an account: on their pages until they read it, and by letter."""

from collections.abc import Iterable

from django.conf import settings
from django.db.models import QuerySet
from django.utils import timezone

from studio import figures

from . import letters
from .models import Notice, PasswordLink, Person, current


def concerned(person: Person) -> list[Person]:
    """Whom an account concerns: its owner, and whoever answers for that person today."""
    guardians = Person.objects.filter(
        current("guarded__"), guarded__pupil=person, is_active=True
    ).distinct()
    return [person, *guardians]


def tell(person: Person, own: str, others: str, link: PasswordLink | None = None) -> None:
    """Tell the owner (``own``) and the guardians (``others``); a link's earlier notice goes."""
    if link is not None:
        Notice.objects.filter(link=link, read_at=None).delete()
    for to in concerned(person):
        text = own if to == person else others
        Notice.objects.create(to=to, text=text, link=link)
        if settings.MAIL:
            letters.post_about_account(to.email, to.name, text)


def unread(person: Person) -> QuerySet[Notice]:
    return person.notices.filter(read_at=None)


def note_read(person: Person, pk: int) -> bool:
    """Whether there was such a notice to this person."""
    return bool(unread(person).filter(pk=pk).update(read_at=timezone.now()))


def when(moment) -> str:
    return figures.date_time(timezone.localtime(moment))


def names(people: Iterable[Person]) -> str:
    """ "A", "A and B", "A, B and C"."""
    *first, last = [str(person) for person in people]
    return f"{', '.join(first)} and {last}" if first else last
