"""A studio keeps other times from now on, and whoever it concerns is told."""

from dataclasses import asdict

from django.db import transaction
from django.utils.translation import gettext as _

from . import access, audit, guardians, notices, retention
from .models import Membership, Person, RetentionTerms, Studio
from .retention import Terms


@transaction.atomic
def change(
    studio: Studio, terms: Terms, log_days: int | None = None, by: Person | None = None
) -> RetentionTerms | None:
    """Keep other times from now on, and tell the families; None where they are the same.

    Raises
    ------
    NotTogether
    """
    retention.check(terms)
    Studio.objects.select_for_update().get(pk=studio.pk)
    before = retention.row_of(studio)
    if retention.said_by(before) == terms and (before.log_days if before else None) == log_days:
        return before
    days = {f"{kind}_days": value for kind, value in asdict(terms).items()}
    row = RetentionTerms.objects.create(studio=studio, set_by=by, log_days=log_days, **days)
    audit.record(audit.Act.SETTINGS, by=by, studio=studio, detail=_("how long what is kept"))
    if retention.said_by(before) != terms:
        _tell(studio, by)
    return row


def _tell(studio: Studio, by: Person | None) -> None:
    """Families with lessons here, and the other teachers: where to read it, each once."""
    when = _("%(studio)s has changed how long it keeps what. ") % {"studio": studio}
    families = [
        person
        for place in access.places_in(studio)
        for person in [place.pupil, *guardians.of(place)]
    ]
    text = _(
        "%(when)sIt is on the page Consent. What would be kept longer now is so "
        "only once that is agreed to there; until then the earlier times hold. "
        "Before anything goes you are told, at least %(WARNED_DAYS)s days before."
    ) % {"when": when, "WARNED_DAYS": retention.WARNED_DAYS}
    notices.tell_each([one for one in families if one != by], text)
    teachers = access.members_of(studio, Membership.Role.TEACHER)
    told = [one for one in teachers if one not in (by, *families)]
    notices.tell_each(told, _("%(when)sIt is under People.") % {"when": when})
