"""What an erasure page says: what goes, what stays and why."""

from dataclasses import dataclass

from django.utils.translation import gettext as _

from studio import figures
from studio.accounts.models import Enrolment, GuardianLink, Person, current
from studio.clips.models import Clip
from studio.translating import gettext_lazy

from . import times
from .models import ErasureJob
from .requests import account_goes_with

OF_A_CLIP = (
    gettext_lazy(
        "The recording as it was sent, its copies for playing, its picture and its outline."
    ),
    gettext_lazy("What was measured and marked in it."),
    gettext_lazy(
        "What the teacher said of it: comments, recorded replies, drawings, and the "
        "answer as it was "
        "returned."
    ),
    gettext_lazy("Who watched it, and when."),
)
IN_THE_LOG = gettext_lazy(
    "In the studio’s log stays that something was erased and when; not of whom, and no number."
)
IN_THE_LIST = gettext_lazy(
    "Random numbers that say nothing stay in a list of what was erased, so that a backup that is "
    "put back is cleared of it again."
)
OF_THE_STUDIO = gettext_lazy(
    "What the teacher wrote about others, and the studio’s own drills: they are not about {whom}."
)


@dataclass(frozen=True, slots=True)
class Said:
    """The parts of the page. ``at_once`` and the rest are sentences."""

    kind: str
    going: tuple[str, ...]
    staying: tuple[str, ...]
    at_once: str

    @property
    def on_disk(self) -> str:
        return _(
            "On the disk of this server it is gone within %(ON_DISK_HOURS)s hours, "
            "mostly within minutes."
        ) % {"ON_DISK_HOURS": times.ON_DISK_HOURS}

    @property
    def in_backups(self) -> str:
        return times.in_backups(self.kind)


def of_clip() -> Said:
    staying = (
        _("Drills that were set with the answer stay in the queue."),
        IN_THE_LOG,
        IN_THE_LIST,
    )
    at_once = _("At once nobody can see or hear it any more, neither here nor at the studio.")
    return Said(ErasureJob.Kind.CLIP, OF_A_CLIP, staying, at_once)


def of_lessons(place: Enrolment, reader: Person | None) -> Said:
    """``reader`` is nobody for whoever runs the machine."""
    pupil, own = place.pupil, place.pupil == reader
    whose, whom = ("your", "you") if own else (f"{pupil.first_name}’s", pupil.first_name)
    going = (
        _("%(pupil)s, with all that was measured, marked and said of them.")
        % {"pupil": _clips(pupil, place)},
        _("Recordings that are on their way."),
        _("%(capitalize)s drills with their goals and ticks, and the plan of keys.")
        % {"capitalize": whose.capitalize()},
        _("Instrument, level, who agreed to recordings and who answers for %(whom)s at %(studio)s.")
        % {"whom": whom, "studio": place.studio},
        _("Letters and messages in which %(whom)s %(value)s named.")
        % {"whom": whom, "value": "are" if own else "is"},
    )
    staying = (OF_THE_STUDIO.format(whom=whom), IN_THE_LOG, IN_THE_LIST)
    if account_goes_with(pupil, place.studio):
        going += (
            _("%(capitalize)s account with its log-in: it is of use nowhere else.")
            % {"capitalize": whose.capitalize()},
        )
    else:
        staying = (
            _("%(capitalize)s account, with name and log-in.") % {"capitalize": whose.capitalize()},
            *staying,
        )
    at_once = _(
        "At once %(whose)s place at %(studio)s ends, and nobody can see or hear "
        "anything of %(whom)s there any more."
    ) % {"whose": whose, "studio": place.studio, "whom": whom}
    return Said(ErasureJob.Kind.LESSONS, going, staying, at_once)


def of_account(person: Person) -> Said:
    places = Enrolment.objects.filter(pupil=person).select_related("studio", "pupil")
    studios = sorted({place.studio.name for place in places})
    kept = _("All that is kept of your lessons at %(studio)s: clips, answers, drills.")
    going = tuple(kept % {"studio": name} for name in studios)
    going += (
        _("Your account: name, address, password, printed codes, and where you are logged in."),
        _("What you were told, letters to you, and wrong tries to log in as you."),
    )
    staying: tuple[str, ...] = (IN_THE_LOG, IN_THE_LIST)
    links = GuardianLink.objects.filter(current(), guardian=person).select_related("pupil")
    children = sorted({link.pupil.first_name for link in links})
    if children:
        staying = (
            _(
                "What is kept of %(children)s, whom you answer for. Erase that first, under"
                " Your data, if it is to go. Where nobody else decides, consent rests: "
                "nothing can be watched or sent until a guardian agrees."
            )
            % {"children": " and ".join(children)},
            *staying,
        )
    if _wrote(person):
        staying = (_("What you said of pupils’ clips is theirs, without your name."), *staying)
    return Said(
        ErasureJob.Kind.ACCOUNT, going, staying, _("At once you are logged out, wherever you are.")
    )


def _clips(pupil: Person, place: Enrolment) -> str:
    there = Clip.objects.filter(
        enrolment__pupil=pupil, enrolment__studio=place.studio_id, erased_at=None
    ).count()
    return figures.count(there, "clip", "clips").capitalize() if there else _("All clips")


def _wrote(person: Person) -> bool:
    return person.memberships.filter(role="teacher").exists()
