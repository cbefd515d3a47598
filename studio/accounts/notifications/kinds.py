"""The registry of kinds: what people are told, in words for each role, and what is optional.

An optional kind is told by :func:`~studio.accounts.notifications.tell`. What is not optional has
its own letters and notices, and stands here so that the page can say so: whoever could switch it
off could be shut out of an account, or lose what is kept, without a word.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from studio.accounts.models import Membership

Role = Membership.Role
Words = str | Promise

RETURNED = "returned"
SET = "set"
LESSON = "lesson"
ASKED = "asked"
ANSWERED = "answered"
WAITING = "waiting"
CONSENT = "consent"
CAUTION = "caution"
GOING = "going"
ACCOUNT = "account"
INVITATION = "invitation"
ERASED = "erased"


@dataclass(frozen=True, slots=True)
class Kind:
    """One thing that people are told.

    Parameters
    ----------
    name : what rows and addresses call it
    title : what a page calls it
    told : of each role that it is for, when it is told
    own : the sentence for the pupil whom it is about
    others : the sentence for anybody else; both may name ``by``, ``about`` and ``what``
    by_pupil : the sentence for others where the pupil did it; empty: as ``others``
    by_letter : whether a letter is usual
    always : that nobody can switch it off, and why; empty where everybody can
    """

    name: str
    title: Words
    told: Mapping[str, Words]
    own: Words = ""
    others: Words = ""
    by_pupil: Words = ""
    by_letter: bool = True
    always: Words = field(default="")

    @property
    def is_optional(self) -> bool:
        return not self.always

    def sentence(self, *, own: bool, by: object, about: object, what: str, pupil_did: bool) -> str:
        """What the reader is told, on one line."""
        others = (self.by_pupil if pupil_did else "") or self.others
        said = str(self.own if own else others)
        return said % {"by": by or _("The studio"), "about": about, "what": what}


def _everybody(words: Words) -> dict[str, Words]:
    return dict.fromkeys((Role.TEACHER, Role.PUPIL, Role.GUARDIAN), words)


KINDS: dict[str, Kind] = {
    kind.name: kind
    for kind in (
        Kind(
            RETURNED,
            _("A recording is answered"),
            {
                Role.PUPIL: _("When your teacher has answered a recording of yours."),
                Role.GUARDIAN: _("When a recording of your child is answered."),
            },
            own=_("%(by)s has answered your recording."),
            others=_("%(by)s has answered a recording of %(about)s."),
        ),
        Kind(
            SET,
            _("A drill is set"),
            {
                Role.PUPIL: _("When your teacher sets you a drill."),
                Role.GUARDIAN: _("When your child is set a drill."),
            },
            own=_("%(by)s has set you a drill: %(what)s."),
            others=_("%(by)s has set %(about)s a drill: %(what)s."),
        ),
        Kind(
            LESSON,
            _("Lessons are planned, moved or cancelled"),
            {
                Role.PUPIL: _("When a lesson of yours is planned, moved or cancelled."),
                Role.GUARDIAN: _("When a lesson of your child is planned, moved or cancelled."),
            },
            own=_("%(by)s has changed the plan of your lessons: %(what)s."),
            others=_("%(by)s has changed the plan of the lessons of %(about)s: %(what)s."),
        ),
        Kind(
            ANSWERED,
            _("A question is answered"),
            {
                Role.PUPIL: _("When your teacher has answered a question of yours."),
                Role.GUARDIAN: _("When a question that you or your child asked is answered."),
            },
            own=_("%(by)s has answered your question."),
            others=_("%(by)s has answered a question about the lessons of %(about)s."),
        ),
        Kind(
            CONSENT,
            _("Consent is needed"),
            {
                Role.PUPIL: _("When you have to agree before you can send a recording."),
                Role.GUARDIAN: _("When you have to agree before your child can send a recording."),
            },
            own=_("You cannot send a recording before you agree. Please read and decide."),
            others=_("%(about)s cannot send a recording before you agree. Please read and decide."),
        ),
        Kind(
            ASKED,
            _("Somebody asks something"),
            {Role.TEACHER: _("When a pupil of yours, or a guardian, asks something.")},
            others=_("%(by)s asks something about the lessons of %(about)s."),
            by_pupil=_("%(by)s asks you something."),
        ),
        Kind(
            WAITING,
            _("A recording has come in"),
            {
                Role.TEACHER: _(
                    "When a recording of a pupil of yours has come in. The list of what waits "
                    "shows it too, so usually no letter comes."
                )
            },
            others=_("A recording of %(about)s has come in."),
            by_letter=False,
        ),
        Kind(
            CAUTION,
            _("A caution about practice"),
            {
                Role.PUPIL: _("When what you wrote down about practice says: take more care."),
                Role.GUARDIAN: _("When what your child wrote down says: take more care."),
                Role.TEACHER: _("When what a pupil of yours wrote down says: take more care."),
            },
            # Why stands on the page alone: a letter is no place for how somebody's hand feels.
            own=_("There is a caution about your practice. Please read it before you play on."),
            others=_("There is a caution about how %(about)s practises. Please read it."),
        ),
        Kind(
            GOING,
            _("Something is about to be deleted"),
            _everybody(_("Before anything that is kept goes by itself, with the day.")),
            always=_("You could not keep a copy of what goes if nobody told you."),
        ),
        Kind(
            ACCOUNT,
            _("About accounts and lessons"),
            _everybody(
                _(
                    "When a password, an address or a log-in changes, and when lessons begin, end "
                    "or get another teacher."
                )
            ),
            always=_("So you learn at once when somebody else did it."),
        ),
        Kind(
            INVITATION,
            _("Invitations, and links that you asked for"),
            _everybody(_("Only when somebody invites you, or you ask for a new password.")),
            always=_("They come because somebody asked for them."),
        ),
        Kind(
            ERASED,
            _("Something is erased"),
            _everybody(_("When what you asked to be erased is erased.")),
            always=_("It is the answer to what you asked."),
        ),
    )
}


def kind_named(name: str) -> Kind:
    """An optional kind by its name.

    Raises
    ------
    ValueError
        For a name that is not known, or of a kind that is told in its own way.
    """
    kind = KINDS.get(name)
    if kind is None or not kind.is_optional:
        known = ", ".join(kind.name for kind in optional())
        raise ValueError(f"kind {name!r} is none that can be told so; give one of {known}")
    return kind


def optional() -> list[Kind]:
    return [kind for kind in KINDS.values() if kind.is_optional]


def told_to(roles) -> list[Kind]:
    """The kinds that somebody in these roles is told, in the registry's order."""
    return [kind for kind in KINDS.values() if set(kind.told) & {str(role) for role in roles}]
