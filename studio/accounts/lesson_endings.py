"""Ending a pupil's lessons in a studio, and taking that back.

Nothing is deleted: the place gets its last day. From then on nobody at the studio reaches anything
of it, and nothing can be sent to it; the family goes on reading what was returned, and copies and
erasure stay theirs (:mod:`studio.rights`). Set drills and the plan of keys end with the place, as
every page asks for places of today.

Who ended it, the studio or the family, may take it back for some days. Later, or for the other
side, a new invitation makes a new place.
"""

from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _

from studio import figures

from . import access, audit, guardians, notices
from .models import Enrolment, LessonsEnd, Membership, Person, Studio, current
from .signals import lessons_ended

TAKE_BACK_DAYS = 7  # chosen, not a standard
Side = LessonsEnd.Side
Role = Membership.Role


@dataclass(frozen=True, slots=True)
class LatelyEnded:
    """Lessons whose end can still be taken back."""

    place: Enrolment
    at: datetime

    @property
    def until(self) -> date:
        """The last day for it."""
        assert self.place.ended_on is not None
        return last_day_to_take_back(self.place.ended_on)


class CannotTakeBack(Exception):
    """Why not, in a sentence that says what can be done instead."""


def last_day_to_take_back(ended_on: date) -> date:
    return ended_on + timedelta(days=TAKE_BACK_DAYS)


@transaction.atomic
def end_lessons(
    place: Enrolment,
    by: Person | None = None,
    side: str = Side.STUDIO,
    *,
    studio_closes: bool = False,
) -> bool:
    """The lessons of a place end today; both sides are told. Whether they had not ended before.

    With ``studio_closes`` nobody is there who could take it back.
    """
    today = timezone.localdate()
    if not Enrolment.objects.filter(current(), pk=place.pk).update(ended_on=today):
        return False
    place.ended_on = today
    _memberships(place).filter(current()).update(ended_on=today)
    if not studio_closes:
        LessonsEnd.objects.update_or_create(
            place=place, defaults={"side": side, "at": timezone.now()}
        )
    said = _("from the side of %(label)s") % {"label": Side(side).label}
    audit.record(
        audit.Act.LESSONS_ENDED, by=by, studio=place.studio, about=place.pupil, detail=said
    )
    lessons_ended.send(Enrolment, place=place)
    _tell_ended(place, by, side, studio_closes)
    return True


@transaction.atomic
def take_back(place: Enrolment, side: str, by: Person | None = None) -> None:
    """The place is again as it was; both sides are told.

    Raises
    ------
    CannotTakeBack
        After the last day for it, for the side that did not end it, and where the pupil has come
        back by another way.
    """
    end = LessonsEnd.objects.select_for_update().filter(place=place).first()
    if end is None or why_not(end, side):
        raise CannotTakeBack(why_not(end, side) if end else _("The lessons have not been ended."))
    _memberships(place).filter(ended_on=place.ended_on).update(ended_on=None)
    Enrolment.objects.filter(pk=place.pk).update(ended_on=None)
    place.ended_on = None
    end.delete()
    audit.record(audit.Act.LESSONS_RESUMED, by=by, studio=place.studio, about=place.pupil)
    _tell_resumed(place, by)


def why_not(end: LessonsEnd, side: str) -> str:
    """Why this side cannot take an end back today; empty where it can."""
    place = end.place
    again = _("A new invitation makes a new place.")
    if end.side != side:
        whose = _("The family") if end.side == Side.FAMILY else _("The studio")
        return _("%(whose)s ended these lessons, and only they can take that back. %(again)s") % {
            "whose": whose,
            "again": again,
        }
    if timezone.localdate() > last_day_to_take_back(place.ended_on):
        last = figures.long_date(last_day_to_take_back(place.ended_on))
        return _("It could be taken back until %(last)s. %(again)s") % {
            "last": last,
            "again": again,
        }
    if Enrolment.objects.filter(current(), pupil=place.pupil_id, studio=place.studio_id).exists():
        return _("%(pupil)s has come back to %(studio)s already, with a new place.") % {
            "pupil": place.pupil,
            "studio": place.studio,
        }
    return ""


def ended_lately(studio: Studio) -> list[LatelyEnded]:
    """What the studio ended and can still take back, the latest first."""
    since = timezone.localdate() - timedelta(days=TAKE_BACK_DAYS)
    found = _ends().filter(place__studio=studio, place__ended_on__gte=since, side=Side.STUDIO)
    ends = [end for end in found.order_by("-at") if not why_not(end, Side.STUDIO)]
    return [LatelyEnded(end.place, end.at) for end in ends]


def end_of(place: Enrolment) -> LessonsEnd | None:
    return _ends().filter(place=place).first()


def seal(places: QuerySet[Enrolment]) -> None:
    """Nobody takes back the end of these any more: what was there is erased."""
    LessonsEnd.objects.filter(place__in=places).delete()


# -- what is said --------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Said:
    """What is then the case, before it is confirmed; sentences."""

    lines: tuple[str, ...]
    first: str  # what to do before, if one wants to


def before_studio_ends(place: Enrolment) -> Said:
    """For the teacher, and for whoever runs the machine."""
    pupil, family = place.pupil, _names_of_family(place)
    return Said(
        (
            _(
                "At once nobody at %(studio)s can see or hear anything of %(pupil)s any "
                "more: no clip, no drill, no plan of keys. Clips that wait leave the list "
                "without an answer."
            )
            % {"studio": place.studio, "pupil": pupil},
            _(
                "%(pupil)s can send nothing more. Recordings on their way stop, and the "
                "drills that are set and the plan of keys end."
            )
            % {"pupil": pupil},
            _(
                "%(family)s can go on reading what came back, until they have it erased. A "
                "copy of everything and its erasure stay theirs to ask for."
            )
            % {"family": family},
            _("%(family)s and the teachers of the studio are told.") % {"family": family},
            _("Nothing is deleted. %(until)s")
            % {"until": _until(_("You can"), _("on the page People"))},
        ),
        _("Clips that wait can be answered first."),
    )


def before_family_ends(place: Enrolment, reader: Person) -> Said:
    """For the guardian or the grown-up pupil who is about to end them."""
    own = place.pupil == reader
    whom = "you" if own else place.pupil.first_name
    sends = _("You can") if own else f"{place.pupil.first_name} can"
    reads = "You" if own or not place.pupil.logs_in_with else _("You and %(whom)s") % {"whom": whom}
    return Said(
        (
            _("At once nobody at %(studio)s can see or hear anything of %(whom)s any more.")
            % {"studio": place.studio, "whom": whom},
            _(
                "%(sends)s send nothing more there. Recordings on their way stop, clips "
                "that wait get no answer, and the drills that are set and the plan of keys "
                "end."
            )
            % {"sends": sends},
            _("%(reads)s can go on reading what came back, until you have it erased.")
            % {"reads": reads},
            _(
                "Under Your data you can take a copy of everything, or have it erased, for as "
                "long as "
                "it is kept."
            ),
            _("The teachers of %(studio)s are told.") % {"studio": place.studio},
            _("Nothing is deleted. %(until)s")
            % {"until": _until(_("You can"), _("on the page Your data"))},
        ),
        _("If an answer is still to come, you may want to wait for it."),
    )


def _until(who: str, where: str) -> str:
    last = figures.long_date(last_day_to_take_back(timezone.localdate()))
    return _(
        "%(who)s take it back %(where)s until %(last)s; later a new invitation "
        "makes a new, empty place."
    ) % {"who": who, "where": where, "last": last}


def _names_of_family(place: Enrolment) -> str:
    return notices.names([place.pupil, *_guardians(place)])


def _guardians(place: Enrolment) -> list[Person]:
    return [one for one in guardians.of(place) if one != place.pupil]


def _tell_ended(place: Enrolment, by: Person | None, side: str, studio_closes: bool) -> None:
    ended = _("ended on %(now)s; %(by)s ended them.") % {
        "now": notices.when(timezone.now()),
        "by": by or notices.OPERATOR,
    }
    home = _(
        "at %(studio)s %(ended)s Nobody there sees or hears anything of them any "
        "more. What came back can still be read, and under Your data whoever "
        "decides can take a copy of everything or have it erased. "
    ) % {"studio": place.studio, "ended": ended}
    if studio_closes:
        home += _("The studio closes, and nobody teaches there any more. Best take a copy soon.")
    else:
        home += _may_take_back(place, _("the studio") if side == Side.STUDIO else _("the family"))
    _tell(by, [place.pupil], _("Your lessons %(home)s") % {"home": home})
    _tell(
        by,
        _guardians(place),
        _("The lessons of %(pupil)s %(home)s") % {"pupil": place.pupil, "home": home},
    )
    if studio_closes:
        return
    at_studio = _may_take_back(place, _("a teacher") if side == Side.STUDIO else _("the family"))
    _tell(
        by,
        access.members_of(place.studio, Role.TEACHER),
        _(
            "The lessons of %(pupil)s at %(studio)s %(ended)s Clips, answers, drills "
            "and the plan of keys are the family’s alone now. %(at_studio)s"
        )
        % {"pupil": place.pupil, "studio": place.studio, "ended": ended, "at_studio": at_studio},
    )


def _may_take_back(place: Enrolment, who: str) -> str:
    last = figures.long_date(last_day_to_take_back(timezone.localdate()))
    return _("If it was a mistake, %(who)s can take it back until %(last)s.") % {
        "who": who,
        "last": last,
    }


def _tell_resumed(place: Enrolment, by: Person | None) -> None:
    again = _(
        "at %(studio)s go on: %(by)s took their end back on %(now)s. Everything is "
        "as it was before, consent too."
    ) % {"studio": place.studio, "by": by or notices.OPERATOR, "now": notices.when(timezone.now())}
    _tell(by, [place.pupil], _("Your lessons %(again)s") % {"again": again})
    others = [*_guardians(place), *access.members_of(place.studio, Role.TEACHER)]
    _tell(
        by, others, _("The lessons of %(pupil)s %(again)s") % {"pupil": place.pupil, "again": again}
    )


def _tell(by: Person | None, people, text: str) -> None:
    """All but the one who did it, who reads it on the page."""
    notices.tell_each([one for one in people if one != by], text)


def _memberships(place: Enrolment) -> QuerySet[Membership]:
    """That the pupil of a place belongs to its studio."""
    return Membership.objects.filter(person=place.pupil_id, studio=place.studio_id, role=Role.PUPIL)


def _ends() -> QuerySet[LessonsEnd]:
    return LessonsEnd.objects.select_related("place__pupil", "place__studio", "place__teacher")
