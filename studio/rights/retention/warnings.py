"""Telling what goes, to everybody whom it concerns: on their pages, and by letter.

Each person is told once a round, of all pupils together. Whoever decides about a pupil reads how
to keep it; a child who does not is told whom to ask.
"""

from collections.abc import Iterable
from datetime import date

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from studio import figures
from studio.accounts import access as people
from studio.accounts import consent, guardians, notices
from studio.accounts.models import Enrolment, Person, Studio
from studio.accounts.names import listed
from studio.accounts.notifications import kinds
from studio.translating import gettext_lazy

from .due import Going

TO_KEEP = gettext_lazy("To keep a copy, press Make a copy under Your data before then.")


def tell(studio: Studio, going: Iterable[Going]) -> int:
    """Tell of what got its day in a round; how many people were told."""
    home: dict[tuple[Person, date, str], list[str]] = {}
    taught: dict[tuple[Person, date], list[str]] = {}
    for each in going:
        for person, how in _family(each.place):
            home.setdefault((person, each.on, how), []).append(said(each, person))
        if people.is_current(each.place):
            taught.setdefault((each.place.teacher, each.on), []).append(said(each))
    for (person, on, how), parts in home.items():
        text = _("%(studio)s, as the page Consent says: %(parts)s. %(how)s") % {
            "studio": _on(studio, on),
            "parts": "; ".join(parts),
            "how": how,
        }
        notices.tell_each([person], text, kinds.GOING)
    for (teacher, on), parts in taught.items():
        text = _(
            "%(studio)s, by the studio’s times: %(parts)s. The families are told, and "
            "can take a copy before then."
        ) % {"studio": _on(studio, on), "parts": "; ".join(parts)}
        notices.tell_each([teacher], text, kinds.GOING)
    return len({person for person, *_rest in home} | {teacher for teacher, _rest in taught})


def said(going: Going, reader: Person | None = None) -> str:
    """What goes of one pupil, in a phrase."""
    pupil = going.place.pupil
    whose = "yours" if pupil == reader else str(pupil)
    if going.lessons:
        return _("all that is left of %(value)s lessons") % {
            "value": "your" if pupil == reader else f"{pupil}’s"
        }
    parts = []
    if going.recordings:
        what = figures.count(going.recordings, "recording", "recordings")
        parts.append(
            _("%(what)s of %(whose)s (what was measured and said stays)")
            % {"what": what, "whose": whose}
        )
    if going.clips:
        what = figures.count(going.clips, "clip", "clips")
        parts.append(
            _("%(what)s of %(whose)s (with all that was measured and said)")
            % {"what": what, "whose": whose}
        )
    if going.drills:
        what = figures.count(going.drills, "drill", "drills")
        parts.append(
            _("%(what)s of %(whose)s (ticked off or set long ago)") % {"what": what, "whose": whose}
        )
    if going.practice:
        what = ngettext("%(n)s entry of practice", "%(n)s entries of practice", going.practice)
        noted = _("%(what)s of %(whose)s (noted long ago)")
        parts.append(noted % {"what": what % {"n": going.practice}, "whose": whose})
    return listed(parts)


def how_to_keep(place: Enrolment, reader: Person) -> str:
    """What to do for it, or whom to ask."""
    who = consent.deciders(place)
    if reader in who:
        return TO_KEEP
    if not who:
        return _("To keep a copy, ask whoever looks after you.")
    return _("To keep a copy, ask %(value)s to take one.") % {
        "value": " or ".join(str(one) for one in who)
    }


def _family(place: Enrolment) -> list[tuple[Person, str]]:
    family = dict.fromkeys([place.pupil, *guardians.of(place)])
    return [(one, how_to_keep(place, one)) for one in family if one.is_active]


def _on(studio: Studio, on: date) -> str:
    return _("On %(on)s this goes at %(studio)s") % {"on": figures.long_date(on), "studio": studio}
