"""How long each kind of thing is kept, in words: the one place that says it to people.

A consent names the times that were shown with it (:mod:`.retention`), so that what somebody agreed
to can be shown again; the first two wordings of :mod:`.consent_words` have a version of their own
here. The owner's page, warnings and commands take their words from here too.
"""

from dataclasses import dataclass

from django.utils.translation import gettext as _

from studio.translating import gettext_lazy

from .retention import WARNED_DAYS, WITH_RECORDING, Terms

#: What a studio may choose, in days, and how it reads. Chosen, not a standard.
SPANS = {
    92: gettext_lazy("three months"),
    183: gettext_lazy("half a year"),
    365: gettext_lazy("a year"),
    730: gettext_lazy("two years"),
    1096: gettext_lazy("three years"),
    1826: gettext_lazy("five years"),
}
UNTIL_ERASED = gettext_lazy("until it is erased")
AS_LONG = gettext_lazy("as long as the recording")
TILL_THE_END = gettext_lazy("as long as anything of the lessons is kept")


@dataclass(frozen=True, slots=True)
class Kept:
    """A kind of thing, and how long it is kept."""

    what: str
    how_long: str

    @property
    def line(self) -> str:
        """
        >>> Kept("A recording that was only half sent", "one day.").line
        'A recording that was only half sent: one day.'
        """
        return f"{self.what}: {self.how_long}"


#: By version; none is changed once it was shown to anybody.
VERSIONS: dict[int, tuple[Kept, ...]] = {
    1: (
        Kept(
            gettext_lazy("Recordings and the copies made of them to be played"),
            gettext_lazy(
                "until they are erased. Once the lessons have ended, nobody at the studio can open "
                "them any more."
            ),
        ),
        Kept(
            gettext_lazy("What was measured, what the teacher said to it, and who watched it"),
            gettext_lazy("as long as the recording."),
        ),
        Kept(gettext_lazy("A recording that was only half sent"), gettext_lazy("one day.")),
        Kept(
            gettext_lazy("Who agreed or withdrew, and when"),
            gettext_lazy("as long as the records of the lessons."),
        ),
    ),
}


def lines(version: int) -> tuple[str, ...]:
    """What is kept how long, a sentence for each kind."""
    return tuple(kept.line for kept in VERSIONS[version])


def lines_of(terms: Terms) -> tuple[str, ...]:
    """The same by a studio's own times."""
    said = tuple(kept.line for kept in of(terms))
    return (*said, *_before_it_goes()) if terms.says_something_goes else said


def of(terms: Terms) -> tuple[Kept, ...]:
    """What is kept how long by these times."""
    return (
        Kept(
            _(
                "Recordings, their pictures, the copies made to be played, and what the teacher "
                "recorded or drew in reply"
            ),
            f"{_after(terms.recordings, _('they were sent'), _('until they are erased'))}.",
        ),
        Kept(
            _("What was measured, what the teacher wrote to it, and who watched it"),
            f"{_figures(terms)}.",
        ),
        Kept(
            _("Drills that were set, with their goals and ticks, and what was noted of practice"),
            _after(
                terms.drills,
                _("they were ticked off, or set, or the day that was noted"),
                _("as long as the lessons are kept"),
            )
            + ".",
        ),
        Kept(
            _("All that is left once the lessons have ended"),
            _("%(kept)s. From their end on nobody at the studio can open any of it.")
            % {"kept": _after(terms.after_end, _("their end"), _("until it is erased"))},
        ),
        Kept(_("A recording that was only half sent"), _("one day.")),
        Kept(_("Who agreed or withdrew, and when"), _("as long as the records of the lessons.")),
    )


def to_child(terms: Terms) -> tuple[str, ...]:
    """The same for a child to read: of the recordings, which is what she knows of."""
    if terms.recordings is None:
        return (_("It stays here until somebody at home wants it gone. You may ask for that."),)
    return (
        _("Films and sounds stay here for %(recordings)s. Then they go.")
        % {"recordings": in_words(terms.recordings)},
        _("Somebody at home can keep a copy. You may also ask that they go sooner."),
    )


def in_words(days: int) -> str:
    """A span as it reads; another number of days than those on offer is said as days."""
    return SPANS.get(days) or _("%(days)s days") % {"days": days}


def _figures(terms: Terms) -> str:
    if terms.figures == WITH_RECORDING:
        return AS_LONG
    if terms.figures is None:
        return (
            _("%(till_the_end)s, figures and words without the sound")
            % {"till_the_end": TILL_THE_END}
            if terms.recordings is not None
            else TILL_THE_END
        )
    return _("for %(figures)s after it was sent, without the sound in the end") % {
        "figures": in_words(terms.figures)
    }


def _after(days: int | None, event: str, otherwise: str) -> str:
    return otherwise if days is None else f"for {in_words(days)} after {event}"


def _before_it_goes() -> tuple[str, ...]:
    return (
        _(
            "What is over goes on the first day of the next month. You are told on your"
            " pages at least %(warned_days)s days before, and by letter where the "
            "studio has your address; a copy of everything can be taken under Your "
            "data."
        )
        % {"warned_days": WARNED_DAYS},
    )


#: What an owner sets: the question, what no number of days means there, and a hint.
ASKED = {
    "recordings": (
        gettext_lazy("Recordings, pictures and recorded replies"),
        gettext_lazy("Until they are erased"),
        gettext_lazy("Counted from the day on which a clip was sent."),
    ),
    "figures": (
        gettext_lazy("What was measured, marked and written of a clip"),
        gettext_lazy("As long as anything of the lessons is kept"),
        gettext_lazy("Counted from the same day. It can be read without the sound."),
    ),
    "drills": (
        gettext_lazy("Drills that were set, and what was noted of practice"),
        gettext_lazy("As long as anything of the lessons is kept"),
        gettext_lazy(
            "Counted from the day on which one was ticked off, else on which it was set; of "
            "practice "
            "from its own day."
        ),
    ),
    "after_end": (
        gettext_lazy("All that is left once lessons have ended"),
        gettext_lazy("Until it is erased"),
        gettext_lazy("Counted from their last day. Nobody at the studio can open it then."),
    ),
    "log": (
        gettext_lazy("The studio’s log of what was done"),
        gettext_lazy("As long as the studio"),
        gettext_lazy(
            "No consent is asked for it. The page What was done says weeks before which lines go."
        ),
    ),
}
