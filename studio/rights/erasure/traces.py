"""Words about somebody in rows that belong to others, and ids in places that are no rows.

Notices and letters name people in their text, and no relation leads from there. They are found by
the whole name or the address, between other letters: *Ida Fenn* is not found in *Ida Fennel*.
"""

import re
from collections.abc import Iterable
from uuid import UUID

from django.db.models import Q

from studio.accounts import saved_forms
from studio.accounts.models import AuditEntry, Letter, Notice, Notification, OpenSession, Person
from studio.accounts.sessions import SessionStore
from studio.jobs import dead_letters
from studio.review.models import Return

NOBODY = "erased"  # in place of a name, as of an emptied account


def words_of(person: Person) -> tuple[str, ...]:
    """What names a person in a text: the name, the address, the log-in name."""
    login_name = getattr(person, "login_name", None)
    return tuple(word for word in (person.name, person.email, login_name) if word)


def forget_texts(words: Iterable[str], studio: int | None = None) -> None:
    """Remove notices and letters (with ``studio``: to its people) that name somebody so."""
    members = Person.objects.filter(memberships__studio=studio)
    for word in words:
        named = re.compile(rf"(?<!\w){re.escape(word)}(?!\w)", re.IGNORECASE)
        notices = Notice.objects.filter(text__icontains=word)
        found = Q(body__icontains=word) | Q(subject__icontains=word) | Q(to__iexact=word)
        letters = Letter.objects.filter(found)
        if studio is not None:
            notices = notices.filter(to__in=members)
            letters = letters.filter(to__in=members.exclude(email=None).values("email"))
        for notice in notices:
            if named.search(notice.text):
                notice.delete()
        for letter in letters:
            if named.search(f"{letter.subject}\n{letter.body}\n{letter.to}"):
                letter.delete()


def forget_author(person: Person) -> None:
    """Take a teacher's name out of answers as they were returned; what was said stays."""
    said_by = Q(returned_by=person) | Q(review__comments__author=person)
    for returned in Return.objects.filter(said_by).distinct():
        for moment in returned.snapshot.get("moments", ()):
            if moment.get("author") == person.name:
                moment["author"] = NOBODY
        returned.save(update_fields=["snapshot"])


def forget_kept_words(person: Person) -> None:
    """Remove what waits to be sent again in a browser that nobody is logged in to any more."""
    for session in OpenSession.objects.filter(person=None):
        kept = SessionStore().decode(session.session_data).get(saved_forms.KEY) or {}
        if kept.get("person") == person.pk:
            session.delete()


def forget_clip_ids(clips: Iterable[UUID]) -> None:
    """Take the ids of clips out of the studio's log and out of messages that were put aside.

    What people were told of these clips leads nowhere any more, and goes.
    """
    gone = list(clips)
    for clip in gone:
        Notification.objects.filter(path__contains=f"/{clip}/").delete()
    AuditEntry.objects.filter(clip_id__in=gone).update(clip_id=None)
    names = {name for one in gone for name in (str(one), one.hex)}
    for path, message in list(dead_letters.parked_messages()):
        if any(name in str(message) for name in names):
            path.unlink(missing_ok=True)
