"""What changes several rows about people."""

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from . import audit, consent, guardians, notices
from .models import Enrolment, GuardianLink, Instrument, Membership, Person, Studio, current


@transaction.atomic
def change_instrument(enrolment: Enrolment, kind: str, string_length_mm: float) -> Instrument:
    """What the pupil plays from today. Earlier rows are kept, because measurements used them."""
    today = timezone.localdate()
    now = enrolment.instrument()
    if now is None or now.started_on < today:
        if now is not None and (now.kind, now.string_length_mm) == (kind, string_length_mm):
            return now
        here = {"pupil": enrolment.pupil, "studio": enrolment.studio}
        Instrument.objects.filter(**here, ended_on=None).update(ended_on=today)
        return Instrument.objects.create(
            **here, kind=kind, string_length_mm=string_length_mm, started_on=today
        )
    now.kind, now.string_length_mm = kind, string_length_mm
    now.save(update_fields=["kind", "string_length_mm"])
    return now


@transaction.atomic
def change_answering(studio: Studio, by: Person) -> None:
    """Keep what the studio promises: days to an answer, minutes in which one is taken back."""
    studio.save(update_fields=["answer_within_days", "return_delay_min"])
    said = _("answer within %(answer_within_days)s days, seen after %(return_delay_min)s min") % {
        "answer_within_days": studio.answer_within_days,
        "return_delay_min": studio.return_delay_min,
    }
    audit.record(audit.Act.SETTINGS, by=by, studio=studio, detail=said)


@transaction.atomic
def change_own_login_age(studio: Studio, by: Person) -> None:
    """Keep from what age a family's invitation proposes a log-in of the child's own."""
    studio.save(update_fields=["own_login_age"])
    said = _("own log-in from %(own_login_age)s years") % {"own_login_age": studio.own_login_age}
    audit.record(audit.Act.SETTINGS, by=by, studio=studio, detail=said)


@transaction.atomic
def change_pupil(
    enrolment: Enrolment, level: str, kind: str, string_length_mm: float, by: Person
) -> None:
    """What a pupil's next clips are judged by: level, instrument, string length."""
    enrolment.level = level
    enrolment.save(update_fields=["level"])
    change_instrument(enrolment, kind, string_length_mm)
    said = f"{enrolment.get_level_display()}, {kind}"
    audit.record(
        audit.Act.SETTINGS, by=by, studio=enrolment.studio, about=enrolment.pupil, detail=said
    )


def change_reading(enrolment: Enrolment, simply: bool) -> None:
    """Whether what comes back is read in a child's words; clips returned before, too."""
    Enrolment.objects.filter(pk=enrolment.pk).update(reads_simply=simply)


@transaction.atomic
def link_guardian(guardian: Person, pupil: Person, studio: Studio, by: Person) -> None:
    """From today ``guardian`` answers for ``pupil`` in ``studio``; twice is once.

    Whoever answered for the pupil there before is told, and so is the pupil.
    """
    here = {"pupil": pupil, "studio": studio}
    if GuardianLink.objects.filter(current(), guardian=guardian, **here).exists():
        return
    _let_rest(pupil.pk, studio.pk)  # what stands unanswered must not be taken up by a newcomer
    others = [link.guardian for link in guardians.seeing().filter(**here)]
    GuardianLink.objects.create(guardian=guardian, **here)
    audit.record(audit.Act.GUARDIAN_LINKED, by=by, studio=studio, about=pupil)
    _tell_linked(guardian, pupil, studio, others, by)


@transaction.atomic
def unlink_guardian(link: GuardianLink, by: Person) -> bool:
    """From now on the guardian sees nothing of the pupil in that studio.

    Where nobody is left who decides for the pupil, consent rests. Returns whether it does now.
    The guardian and whoever else answers for the pupil there are told; of consent that rests, the
    pupil and the studio's teachers too.
    """
    GuardianLink.objects.filter(pk=link.pk).update(ended_on=timezone.localdate())
    rests = _let_rest(link.pupil_id, link.studio_id)
    audit.record(
        audit.Act.GUARDIAN_UNLINKED,
        by=by,
        studio=link.studio,
        about=link.pupil,
        detail=_("consent rests") if rests else "",
    )
    _tell_unlinked(link, by, rests)
    return rests


@transaction.atomic
def confirm_guardian(link: GuardianLink) -> None:
    """The operator knows that this teacher is the pupil's guardian, and so may decide."""
    _let_rest(link.pupil_id, link.studio_id)
    GuardianLink.objects.filter(pk=link.pk).update(confirmed_at=timezone.now())
    audit.record(audit.Act.GUARDIAN_CONFIRMED, by=None, studio=link.studio, about=link.pupil)
    here = guardians.seeing().filter(pupil=link.pupil_id, studio=link.studio_id)
    notices.tell_each(
        [link.pupil, *(one.guardian for one in here)],
        _(
            "%(guardian)s teaches at %(studio)s and decides about consent for %(pupil)s"
            " there as a guardian since %(now)s; %(OPERATOR)s confirmed it. If that is "
            "wrong, say so to %(OPERATOR)s."
        )
        % {
            "guardian": link.guardian,
            "studio": link.studio,
            "pupil": link.pupil,
            "now": notices.when(timezone.now()),
            "OPERATOR": notices.OPERATOR,
        },
    )


def _let_rest(pupil_pk: int, studio_pk: int) -> bool:
    """Whether there was consent that nobody is left to withdraw; it rests from now on."""
    places = Enrolment.objects.filter(current(), pupil=pupil_pk, studio=studio_pk)
    rested = [consent.let_rest(place) for place in places.select_for_update()]
    return any(rested)


def _tell_linked(
    guardian: Person, pupil: Person, studio: Studio, others: list[Person], by: Person
) -> None:
    since = f"since {notices.when(timezone.now())}"
    if guardian != by:
        since += _("; %(by)s made the link") % {"by": by}
    notices.tell_each(
        [pupil],
        _(
            "%(guardian)s answers for you at %(studio)s %(since)s. %(guardian)s sees "
            "what you see there."
        )
        % {"guardian": guardian, "studio": studio, "since": since},
    )
    notices.tell_each(
        others,
        _(
            "%(guardian)s answers for %(pupil)s at %(studio)s %(since)s. %(guardian)s "
            "sees what %(pupil)s sees there. If you do not know %(guardian)s, withdraw "
            "consent, and ask the teacher."
        )
        % {"guardian": guardian, "pupil": pupil, "studio": studio, "since": since},
    )


def _tell_unlinked(link: GuardianLink, by: Person, rests: bool) -> None:
    ended = _(
        "%(guardian)s no longer answers for %(pupil)s at %(studio)s, since %(now)s;"
        " %(by)s ended it."
    ) % {
        "guardian": link.guardian,
        "pupil": link.pupil,
        "studio": link.studio,
        "now": notices.when(timezone.now()),
        "by": by,
    }
    then = (
        _(
            "Consent to recordings rests from now on, as nobody is left who could withdraw "
            "it: no clip "
            "can be watched or sent until a guardian is linked and agrees. Nothing was deleted."
        )
        if rests
        else _("Nothing was deleted, and consent stands as it did.")
    )
    left = guardians.seeing().filter(pupil=link.pupil_id, studio=link.studio_id)
    told = [one.guardian for one in left if one.guardian_id != link.guardian_id]
    if rests:
        told += [link.pupil, *_teachers(link.studio)]
    notices.tell_each(told, f"{ended} {then}")
    notices.tell_each(
        [link.guardian],
        _("%(ended)s %(then)s If that is wrong, say so to %(by)s or to %(OPERATOR)s.")
        % {"ended": ended, "then": then, "by": by, "OPERATOR": notices.OPERATOR},
    )


def _teachers(studio: Studio) -> list[Person]:
    held = Membership.objects.filter(current(), studio=studio, role=Membership.Role.TEACHER)
    return [one.person for one in held.filter(person__is_active=True).select_related("person")]
