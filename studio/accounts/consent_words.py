"""The words that ask for consent, by purpose. More asked for is a new version: see ``consent``."""

from dataclasses import dataclass

from .models import Consent

Purpose = Consent.Purpose


@dataclass(frozen=True, slots=True)
class Words:
    """What is asked for, as the person who decides reads it."""

    version: int
    title: str
    asked: tuple[str, ...]
    given: tuple[str, ...]
    withdrawn: tuple[str, ...]


WORDS = {
    Purpose.RECORDINGS: Words(
        version=1,
        title="Recordings of practice",
        asked=(
            "The pupil may send practice clips, with picture or sound only, to this studio.",
            "The teachers of this studio may watch and hear them, and write comments on them.",
            "A program that the studio runs listens for the notes and measures how well they are "
            "in tune. The studio may keep recordings at a storage service; nobody else gets them.",
        ),
        given=(
            "New clips can be sent from now on.",
            "The studio’s teachers can watch and hear all clips, earlier ones too.",
            "Clips that waited are taken up within a minute.",
        ),
        withdrawn=(
            "From that moment the studio’s teachers get nothing more of any clip. What a browser "
            "already has of one that is playing may sound on for a little.",
            "New clips are not accepted, and clips that wait are not listened to.",
            "Nothing is deleted. The pupil and the guardians still see and hear everything, "
            "but not what the teacher recorded or drew in reply, until you agree again.",
            "You can agree again at any time. To have recordings erased, or to get a copy of "
            "them, ask the teacher: withdrawing does neither.",
        ),
    ),
}
