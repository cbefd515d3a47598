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

from .due import Going

TO_KEEP = "To keep a copy, press Make a copy under Your data before then."


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
        text = f"{_on(studio, on)}, as the page Consent says: {'; '.join(parts)}. {how}"
        notices.tell_each([person], text, kinds.GOING)
    for (teacher, on), parts in taught.items():
        text = (
            f"{_on(studio, on)}, by the studio’s times: {'; '.join(parts)}. The families are told, "
            "and can take a copy before then."
        )
        notices.tell_each([teacher], text, kinds.GOING)
    return len({person for person, *_ in home} | {teacher for teacher, _ in taught})


def said(going: Going, reader: Person | None = None) -> str:
    """What goes of one pupil, in a phrase."""
    pupil = going.place.pupil
    whose = "yours" if pupil == reader else str(pupil)
    if going.lessons:
        return f"all that is left of {'your' if pupil == reader else f'{pupil}’s'} lessons"
    parts = []
    if going.recordings:
        what = figures.count(going.recordings, "recording", "recordings")
        parts.append(f"{what} of {whose} (what was measured and said stays)")
    if going.clips:
        what = figures.count(going.clips, "clip", "clips")
        parts.append(f"{what} of {whose} (with all that was measured and said)")
    if going.drills:
        what = figures.count(going.drills, "drill", "drills")
        parts.append(f"{what} of {whose} (ticked off or set long ago)")
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
        return "To keep a copy, ask whoever looks after you."
    return f"To keep a copy, ask {' or '.join(str(one) for one in who)} to take one."


def _family(place: Enrolment) -> list[tuple[Person, str]]:
    family = dict.fromkeys([place.pupil, *guardians.of(place)])
    return [(one, how_to_keep(place, one)) for one in family if one.is_active]


def _on(studio: Studio, on: date) -> str:
    return f"On {figures.long_date(on)} this goes at {studio}"
