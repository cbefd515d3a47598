"""The words that ask for consent, by purpose, in every version that was ever shown.

Words that were shown to anybody stay here as they were: a consent names its version, and the page
Consent shows that version again. Newer words are a new version. What they mean for consents that
were given before is ``holds_since``, the earliest version whose consent still holds: words that
only tell more leave it as it was; words that ask for more set it to their own version, and then
everybody is asked anew.

``{child}``, ``{studio}``, ``{teacher}`` and ``{teachers}`` stand for names; :mod:`.consent_text`
fills them in. How long what is kept comes from :mod:`.retention_words`; from wording 3 on by the
times that the studio has set.
"""

from dataclasses import dataclass, replace

from studio.translating import gettext_lazy

from . import retention_words
from .models import Consent

Purpose = Consent.Purpose


@dataclass(frozen=True, slots=True)
class Section:
    """One question that a reader has, and what answers it."""

    heading: str
    lines: tuple[str, ...]


#: A section whose lines are the studio's own times, and the line of a child's words that is.
KEPT_AS_SET = "{kept}"


@dataclass(frozen=True, slots=True)
class Words:
    """What is asked for: to a guardian, to a pupil who decides alone, and for a child to read."""

    version: int
    holds_since: int
    title: str
    to_guardian: tuple[Section, ...]
    to_pupil: tuple[Section, ...]
    for_child: tuple[str, ...]
    given: tuple[str, ...]
    withdrawn: tuple[str, ...]


_ASKED_1 = (
    Section(
        gettext_lazy("What it says"),
        (
            gettext_lazy(
                "The pupil may send practice clips, with picture or sound only, to this studio."
            ),
            gettext_lazy(
                "The teachers of this studio may watch and hear them, and write comments on them."
            ),
            gettext_lazy(
                "A program that the studio runs listens for the notes and measures how well they "
                "are "
                "in tune. The studio may keep recordings at a storage service; nobody else gets "
                "them."
            ),
        ),
    ),
)
RECORDINGS_1 = Words(
    version=1,
    holds_since=1,
    title=gettext_lazy("Recordings of practice"),
    to_guardian=_ASKED_1,
    to_pupil=_ASKED_1,
    for_child=(),
    given=(
        gettext_lazy("New clips can be sent from now on."),
        gettext_lazy("The studio’s teachers can watch and hear all clips, earlier ones too."),
        gettext_lazy("Clips that waited are taken up within a minute."),
    ),
    withdrawn=(
        gettext_lazy(
            "From that moment the studio’s teachers get nothing more of any clip. What a browser "
            "already has of one that is playing may sound on for a little."
        ),
        gettext_lazy("New clips are not accepted, and clips that wait are not listened to."),
        gettext_lazy(
            "Nothing is deleted. The pupil and the guardians still see and hear everything, "
            "but not what the teacher recorded or drew in reply, until you agree again."
        ),
        gettext_lazy(
            "You can agree again at any time. To have recordings erased, or to get a copy of "
            "them, ask the teacher: withdrawing does neither."
        ),
    ),
)

_PROGRAM = gettext_lazy(
    "A program that the studio runs listens for the notes and measures how well they are in tune. "
    "It decides nothing: the teacher does."
)
_KEPT_WHERE = gettext_lazy(
    "The studio may keep recordings at a storage service. Nobody else gets them, and nothing is "
    "used for anything else."
)
_KEPT = Section(gettext_lazy("How long is it kept?"), retention_words.lines(1))
_YOUR_DATA = gettext_lazy(
    "To get a copy of all of it, or to have one clip or all of it erased: on the page Your data, "
    "at any time, and after the lessons too."
)
_WATCHERS = gettext_lazy("The teachers of {studio}: {teachers}.")
_WATCHED = gettext_lazy(
    "Every time a teacher watches a clip, that is noted, and you can read it at the clip."
)
_ASK = (
    gettext_lazy("{teacher}, or any other teacher of {studio}."),
    gettext_lazy(
        "About the machine and the data on it: whoever runs the studio’s machine; the studio tells "
        "you who that is."
    ),
)
RECORDINGS_2 = Words(
    version=2,
    holds_since=1,  # it tells more, and asks for nothing that was not asked for before
    title=gettext_lazy("Recordings of practice"),
    to_guardian=(
        Section(
            gettext_lazy("What is it for?"),
            (
                gettext_lazy(
                    "{child}, or you for {child}, may send practice clips to {studio}, with "
                    "picture or sound only. {teacher} answers them, so that {child} can practise "
                    "better between lessons."
                ),
                _PROGRAM,
            ),
        ),
        Section(
            gettext_lazy("Who may watch and hear?"),
            (
                _WATCHERS,
                gettext_lazy("{child}, and whoever answers for {child} at {studio}, as you do."),
                _WATCHED,
                _KEPT_WHERE,
            ),
        ),
        _KEPT,
        Section(gettext_lazy("Whom can you ask?"), _ASK),
        Section(
            gettext_lazy("How do you withdraw it?"),
            (
                gettext_lazy(
                    "On the page Consent of {child}, at any time. It holds at once, and you need "
                    "give "
                    "no reason."
                ),
                gettext_lazy("You may leave it open, too. Without it no clip can be sent here."),
                _YOUR_DATA,
            ),
        ),
    ),
    to_pupil=(
        Section(
            gettext_lazy("What is it for?"),
            (
                gettext_lazy(
                    "You may send practice clips to {studio}, with picture or sound only. "
                    "{teacher} answers them, so that you can practise better between lessons."
                ),
                _PROGRAM,
            ),
        ),
        Section(gettext_lazy("Who may watch and hear?"), (_WATCHERS, _WATCHED, _KEPT_WHERE)),
        _KEPT,
        Section(gettext_lazy("Whom can you ask?"), _ASK),
        Section(
            gettext_lazy("How do you withdraw it?"),
            (
                gettext_lazy(
                    "On the page Consent, at any time. It holds at once, and you need give no "
                    "reason."
                ),
                gettext_lazy("You may leave it open, too. Without it no clip can be sent here."),
                _YOUR_DATA,
            ),
        ),
    ),
    for_child=(
        gettext_lazy("You can send {teacher} a film of your practice, or only the sound."),
        gettext_lazy(
            "{teacher} looks, listens, and writes back to you. The other teachers of {studio} may "
            "look too."
        ),
        gettext_lazy(
            "A computer program listens as well. It measures how high and how low the notes are."
        ),
        gettext_lazy("Your grown-ups see all of it. Nobody else does."),
        gettext_lazy("It stays here until somebody at home wants it gone. You may ask for that."),
        gettext_lazy(
            "If you do not want it any more, say so. It stops at once, and nobody is cross "
            "with you."
        ),
        gettext_lazy("If something feels wrong, tell a grown-up whom you trust."),
    ),
    given=RECORDINGS_1.given,
    withdrawn=(
        *RECORDINGS_1.withdrawn[:2],
        gettext_lazy(
            "Nothing is deleted. {child} and whoever answers for {child} still see and hear "
            "everything, but not what the teacher recorded or drew in reply, until you agree again."
        ),
        gettext_lazy(
            "You can agree again at any time. Withdrawing erases nothing and makes no copy; "
            "both are "
            "on the page Your data."
        ),
    ),
)

_KEPT_3 = Section(gettext_lazy("How long is it kept?"), (KEPT_AS_SET,))
_STAYS_2 = gettext_lazy("It stays here until somebody at home wants it gone. You may ask for that.")


def _with_times(sections: tuple[Section, ...]) -> tuple[Section, ...]:
    return tuple(_KEPT_3 if section is _KEPT else section for section in sections)


# It tells how long by the times of the studio; where those are longer than what was agreed to
# before, they do not hold for who agreed to those (:mod:`.retention`).
RECORDINGS_3 = replace(
    RECORDINGS_2,
    version=3,
    to_guardian=_with_times(RECORDINGS_2.to_guardian),
    to_pupil=_with_times(RECORDINGS_2.to_pupil),
    for_child=tuple(KEPT_AS_SET if line == _STAYS_2 else line for line in RECORDINGS_2.for_child),
)

#: Every version of each purpose, oldest first.
VERSIONS = {Purpose.RECORDINGS: (RECORDINGS_1, RECORDINGS_2, RECORDINGS_3)}
#: The words that are asked today.
WORDS = {purpose: versions[-1] for purpose, versions in VERSIONS.items()}


def of_version(purpose: str, version: int) -> Words | None:
    """The words as they were in a version; ``None`` where there never was such a one."""
    found = VERSIONS.get(Purpose(purpose), ()) if purpose in Purpose.values else ()
    return next((words for words in found if words.version == version), None)
