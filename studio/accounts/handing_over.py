"""A teacher's pupils go to colleagues, a teacher leaves, another owns the studio, it closes.

A place always has a teacher who is there. So whoever leaves hands her pupils over first, or with
the same press; invitations of pupils that she made are the new teacher's too. What she wrote stays
where it is. A studio always has an owner: she hands it over before she leaves, or, where nobody
else teaches, closes it.
"""

from collections.abc import Mapping

from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _

from . import access, audit, guardians, invitations, lesson_endings, notices
from .models import Enrolment, Invitation, Membership, Person, Studio, current
from .signals import teacher_left

Role = Membership.Role
Heirs = Mapping[int, Person]  # who teaches the pupil of a place from now on, by its number


class StillNeeded(Exception):
    """Why a teacher cannot leave yet, in a sentence that says what to do first."""


def pupils_of(membership: Membership) -> QuerySet[Enrolment]:
    """The places of today at which this teacher teaches, by the pupil's name."""
    places = access.places_in(membership.studio).filter(teacher=membership.person_id)
    return places.order_by("pupil__name", "pk")


def others_in(membership: Membership) -> list[Person]:
    """Who can take a pupil over, by name."""
    here = access.members_of(membership.studio, Role.TEACHER)
    return list(here.exclude(pk=membership.person_id))


@transaction.atomic
def hand_over(places: list[Enrolment], heirs: Heirs, by: Person | None = None) -> int:
    """Give pupils another teacher, and tell their families and the teachers; says how many."""
    changed = 0
    for place in places:
        heir = heirs.get(place.pk)
        if heir is None or heir == place.teacher:
            continue
        before = place.teacher
        Enrolment.objects.filter(pk=place.pk).update(teacher=heir)
        place.teacher = heir
        audit.record(audit.Act.HANDED_OVER, by=by, studio=place.studio, about=place.pupil)
        _tell_handed_over(place, before, by)
        changed += 1
    return changed


@transaction.atomic
def end_membership(
    membership: Membership, heirs: Heirs | None = None, by: Person | None = None
) -> None:
    """A teacher leaves the studio today. Everything is kept; what waits for them is free again.

    Raises
    ------
    StillNeeded
        While pupils of hers are given to nobody, and for the studio's owner.
    """
    if membership.is_owner:
        raise StillNeeded(
            _(
                "%(person)s is the owner of %(studio)s. Let the studio be handed over to a "
                "colleague first."
            )
            % {"person": membership.person, "studio": membership.studio}
        )
    places = list(pupils_of(membership).select_for_update(of=("self",)))
    hand_over(places, heirs or {}, by)
    if left := [place.pupil for place in places if place.teacher_id == membership.person_id]:
        raise StillNeeded(
            _("%(left)s would be without a teacher. Choose who teaches %(value)s from now on.")
            % {
                "left": notices.names(left),
                "value": _("each of them") if len(left) > 1 else left[0].first_name,
            }
        )
    _invitations(membership).update(invited_by=_heir_of_invitations(membership, heirs, by))
    _end(membership, by)
    _tell_left(membership, by)


@transaction.atomic
def make_owner(membership: Membership, by: Person | None = None) -> None:
    """Another teacher owns the studio from now on, and every teacher there is told."""
    audit.make_owner(membership, by)
    text = _(
        "%(person)s owns %(studio)s since %(now)s; %(by)s handed it over. The owner"
        " reads what was done in the studio, and can end the place of a teacher."
    ) % {
        "person": membership.person,
        "studio": membership.studio,
        "now": notices.when(timezone.now()),
        "by": by or notices.OPERATOR,
    }
    teachers = access.members_of(membership.studio, Role.TEACHER)
    notices.tell_each([one for one in teachers if one != by], text)


@transaction.atomic
def close(studio: Studio, by: Person | None = None) -> int:
    """The only teacher stops: all lessons end, the families are told; says how many ended.

    Nothing is deleted. Copies and erasure stay the families'.

    Raises
    ------
    StillNeeded
        Where somebody else teaches, who can go on.
    """
    teachers = list(access.teachers_in([studio]))
    if len(teachers) != 1:
        raise StillNeeded(
            _("%(studio)s has %(teachers)s teachers. Hand it over to one who goes on; then leave.")
            % {"studio": studio, "teachers": len(teachers)}
        )
    places = list(access.places_in(studio).select_for_update(of=("self",)))
    ended = sum(lesson_endings.end_lessons(place, by, studio_closes=True) for place in places)
    lesson_endings.seal(Enrolment.objects.filter(studio=studio))  # nobody is left who could
    invitations.open_in(studio).update(cancelled_at=timezone.now())
    _end(teachers[0], by)
    audit.record(audit.Act.STUDIO_CLOSED, by=by, studio=studio)
    return ended


def _end(membership: Membership, by: Person | None) -> None:
    Membership.objects.filter(
        current(), person=membership.person_id, studio=membership.studio_id, role=Role.TEACHER
    ).update(ended_on=timezone.localdate(), is_owner=False)
    audit.record(audit.Act.TEACHER_ENDED, by=by, studio=membership.studio, about=membership.person)
    teacher_left.send(Membership, person=membership.person, studio=membership.studio)


def _invitations(membership: Membership) -> QuerySet[Invitation]:
    """Those of hers that can still be accepted: a pupil who comes by one gets a teacher."""
    return invitations.open_in(membership.studio).filter(invited_by=membership.person_id)


def _heir_of_invitations(
    membership: Membership, heirs: Heirs | None, by: Person | None
) -> Person | None:
    """Whose the leaver's open invitations are: who ends it, the owner, or a new teacher."""
    others = others_in(membership)
    if by in others:
        return by
    owner = audit.owners(membership.studio).first()
    if owner is not None and owner.person in others:
        return owner.person
    return next(iter((heirs or {}).values()), next(iter(others), None))


def _tell_handed_over(place: Enrolment, before: Person, by: Person | None) -> None:
    since = _("since %(now)s, in place of %(before)s") % {
        "now": notices.when(timezone.now()),
        "before": before,
    }
    same = _("Clips, answers, drills and the plan of keys stay as they are.")
    family = [one for one in guardians.of(place) if one != place.pupil]
    notices.tell_each(
        [place.pupil],
        _("%(teacher)s teaches you at %(studio)s %(since)s. %(same)s")
        % {"teacher": place.teacher, "studio": place.studio, "since": since, "same": same},
    )
    notices.tell_each(
        family, f"{place.teacher} teaches {place.pupil} at {place.studio} {since}. {same}"
    )
    teachers = [one for one in (place.teacher, before) if one != by]
    notices.tell_each(
        teachers,
        _("%(teacher)s teaches %(pupil)s at %(studio)s %(since)s; %(by)s handed over.")
        % {
            "teacher": place.teacher,
            "pupil": place.pupil,
            "studio": place.studio,
            "since": since,
            "by": by or notices.OPERATOR,
        },
    )


def _tell_left(membership: Membership, by: Person | None) -> None:
    left = f"{membership.studio} since {notices.when(timezone.now())}"
    if membership.person != by:
        notices.tell_each(
            [membership.person],
            _(
                "You no longer teach at %(left)s; %(by)s ended it. Nothing was deleted. If "
                "that is wrong, say so to whoever owns the studio."
            )
            % {"left": left, "by": by or notices.OPERATOR},
        )
    others = [one for one in others_in(membership) if one != by]
    notices.tell_each(
        others,
        _("%(person)s no longer teaches at %(left)s.")
        % {"person": membership.person, "left": left},
    )
