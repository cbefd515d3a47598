"""A child's log-in: a name that her guardian chooses, and a code that is made for it.

A child needs no address. Without a log-in she has no password either, and her guardian does what
there is to do. The code is told once and kept as passwords are; a new one ends the child's
sessions. It is taken however it is typed: hyphens, spaces and capitals do not count.

Who may (a choice of this project): a guardian who decides for the child wherever the child is a
pupil today, or, once all lessons have ended, wherever something of them is kept, as long as the
account opens nothing else, has no address, and the child is not grown up. So nobody who is linked
in one studio opens what the child has in another.
"""

import re
import unicodedata

from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.db.models import QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _

from studio.translating import gettext_lazy

from . import audit, guardians, notices, passwords
from .consent import is_grown_up
from .models import Enrolment, GuardianLink, Membership, Person, current

SHORTEST, LONGEST = 3, 30  # letters
NAME = re.compile(r"[a-z0-9]+(\.[a-z0-9]+)*")
NOT_A_NAME = gettext_lazy(
    "A log-in name has 3 to 30 letters from a to z or digits, with dots between them if you "
    "like, such as ida.fenn."
)


class NameTaken(Exception):
    """Somebody logs in with that name already."""


def validate(name: str) -> None:
    """Raise ``ValidationError`` unless a child can log in with it; case does not count.

    >>> validate("Ida.Fenn")
    """
    said = name.strip().lower()
    if not (SHORTEST <= len(said) <= LONGEST and NAME.fullmatch(said)):
        raise ValidationError(NOT_A_NAME)


def proposed(name: str, but: tuple[str, ...] = ()) -> str:
    """A free log-in name after a person's name; ``but`` are not free either."""
    plain = unicodedata.normalize("NFKD", name.lower()).encode("ascii", "ignore").decode()
    base = ".".join(re.findall("[a-z0-9]+", plain))[: LONGEST - 3].strip(".")
    base = base if len(base) >= SHORTEST else f"pupil.{base}".strip(".")
    taken = set(Person.objects.filter(login_name__startswith=base).values_list("login_name"))
    taken |= {(one,) for one in but}
    names = (base, *(f"{base}.{number}" for number in range(2, len(taken) + 3)))
    return next(one for one in names if (one,) not in taken)


def is_taken(name: str) -> bool:
    return Person.objects.filter(login_name=name.strip().lower()).exists()


def may_change(guardian: Person, child: Person) -> bool:
    """Whether ``guardian`` may make, renew and end the child's log-in."""
    decided = guardians.deciding().filter(guardian=guardian, pupil=child).values("studio")
    places = _places(child)
    others = Membership.objects.filter(current(), person=child).exclude(
        role=Membership.Role.PUPIL, studio__in=decided
    )
    return (
        child.is_active
        and not child.email
        and is_grown_up(child) is not True
        and places.filter(studio__in=decided).exists()
        and not places.exclude(studio__in=decided).exists()
        and not others.exists()
        and not GuardianLink.objects.filter(current(), guardian=child).exists()
    )


def _places(child: Person) -> QuerySet[Enrolment]:
    """Those of today; of a child whose lessons have all ended, those that are kept."""
    kept = Enrolment.objects.filter(pupil=child)
    today = kept.filter(current())
    return today if today.exists() else kept


def make(child: Person, login_name: str, by: Person) -> str:
    """A log-in of this name with a new code, which is told this once; the earlier one ends.

    Raises
    ------
    NameTaken
    """
    name, before = login_name.strip().lower(), child.login_name
    try:
        with transaction.atomic():
            Person.objects.filter(pk=child.pk).update(login_name=name)
            child.login_name = name
            code = passwords.renew_by_code(child)
            _record(child, by, _("a new code") if before else _("made"))
            _tell(
                child,
                by,
                _("made a new code with which %(child)s logs in, as %(name)s")
                % {"child": child, "name": name},
            )
    except IntegrityError:
        child.login_name = before
        raise NameTaken from None
    return code


@transaction.atomic
def end(child: Person, by: Person) -> None:
    """The child logs in no more; what is there stays, and her guardian sees it."""
    passwords.take_away(child)
    Person.objects.filter(pk=child.pk).update(login_name=None)
    child.login_name = None
    _record(child, by, "ended")
    _tell(child, by, _("ended the log-in of %(child)s") % {"child": child})


def _record(child: Person, by: Person, said: str) -> None:
    """In the log of each studio where she has lessons today; of others it is no business."""
    for place in Enrolment.objects.filter(current(), pupil=child).select_related("studio"):
        audit.record(audit.Act.CHILD_LOG_IN, by=by, studio=place.studio, about=child, detail=said)


def _tell(child: Person, by: Person, what: str) -> None:
    """The other guardians; the child finds out when she logs in."""
    others = [one for one in notices.concerned(child)[1:] if one != by]
    at = notices.when(timezone.now())
    notices.tell_each(others, f"{by} {what}, on {at}.")
