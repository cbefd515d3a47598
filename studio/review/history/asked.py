"""What is asked of the line of time: which entries, and from where on."""

from dataclasses import dataclass
from datetime import date, datetime

from django.db.models import TextChoices
from django.utils.translation import gettext_lazy as _

from studio import figures


class What(TextChoices):
    """What an entry is. The order is that of two entries of the same moment, the later first."""

    PRACTICE = "practice", _("practice")
    KEYS = "keys", _("keys ticked off")
    LESSON = "lesson", _("lesson notes")
    QUESTION = "question", _("questions")
    SET = "set", _("drills that were set")
    DONE = "done", _("drills that were ticked off")
    CLIP = "clip", _("clips")


YEARS = range(1990, 3000)  # beyond them a zone's offset may leave the calendar
RANK = {what: place for place, what in enumerate(What)}


@dataclass(frozen=True, slots=True)
class Place:
    """An entry's place on the line: when, what and which; later ones first."""

    at: datetime
    what: What
    pk: str

    def __str__(self) -> str:
        return f"{self.at.isoformat()}~{self.what}~{self.pk}"

    @classmethod
    def parse(cls, said: str) -> "Place | None":
        """The place that an address names; ``None`` for what is none."""
        at, _tilde, rest = said.partition("~")
        what, _tilde, pk = rest.partition("~")
        try:
            found = cls(datetime.fromisoformat(at), What(what), pk)
        except ValueError:
            return None
        is_key = what == What.CLIP or figures.whole(pk) is not None
        is_time = found.at.tzinfo is not None and found.at.year in YEARS
        return found if is_key and is_time else None


@dataclass(frozen=True, slots=True)
class Asked:
    """What is looked for; whatever is empty is not asked.

    ``interval`` is a word such as octaves, ``key`` a key's name, ``kind`` that of a comment,
    ``drill`` a drill's number. ``since`` and ``until`` are days, both included. ``before`` is the
    place from which an earlier page goes on.
    """

    words: tuple[str, ...] = ()
    what: str = ""
    interval: str = ""
    key: str = ""
    kind: str = ""
    drill: int = 0
    since: date | None = None
    until: date | None = None
    before: Place | None = None
