"""The answers themselves, as plain values."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import date, time
from typing import Any
from uuid import UUID

from django.db.models import Model, Q, TextChoices

from studio.accounts.models import Person
from studio.translating import gettext_lazy

Row = Callable[[Any], dict]


class Kept(TextChoices):
    """How long a row is kept when nobody asks for its erasure: the words are said to people."""

    ACCOUNT = "account", gettext_lazy("as long as the account is there")
    LESSONS = "lessons", gettext_lazy("until it is erased, with the pupil’s other records")
    CLIP = "clip", gettext_lazy("as long as the clip")
    UPLOAD = "upload", gettext_lazy("until a day after its last byte came")
    READING = "reading", gettext_lazy("for a day")
    COPY = "copy", gettext_lazy("for a day after it is ready")
    SESSION = "session", gettext_lazy("until 30 days after the last log-in, or until the log-out")
    TRIES = "tries", gettext_lazy("until a day after the latest try")
    LOG_INS = "log_ins", gettext_lazy("for 30 days")
    LETTER = "letter", gettext_lazy("for a day; its words go once it is sent")
    NOTIFICATION = "notification", gettext_lazy("for 90 days")
    INVITATION = (
        "invitation",
        gettext_lazy("until 90 days after it ran out, or with whoever came by it"),
    )
    ADDRESS_CHANGE = (
        "address_change",
        gettext_lazy("until a guardian has answered, for 30 days at most"),
    )
    ERASURE = "erasure", gettext_lazy("for 30 days after its end")
    STUDIO = "studio", gettext_lazy("as long as the studio is there")


# -- export --------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Exported:
    """``row`` gives a row as plain values for JSON.

    ``only`` gives a condition that rows have to meet, and ``but`` says in a sentence what that
    leaves out, and why. ``with_lessons`` is for what belongs to no studio and still goes with the
    copy of a pupil's lessons, whoever decides for the pupil.
    """

    row: Row
    only: Callable[[], Q] | None = None
    but: str = ""
    with_lessons: bool = False


@dataclass(frozen=True, slots=True)
class Withheld:
    """Rows are not exported; ``reason`` says why, in a sentence for the person."""

    reason: str


# -- erasure -------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Goes:
    """The row is deleted."""


@dataclass(frozen=True, slots=True)
class Emptied:
    """The row stays, and these fields get these values."""

    values: Mapping[str, Any] = field(default_factory=dict)
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Unlinked:
    """The row stays, and the field that names the person (or what is erased) becomes null."""

    reason: str


@dataclass(frozen=True, slots=True)
class Stays:
    """The row stays as it is."""

    reason: str


Erasure = Goes | Emptied | Unlinked | Stays


# -- rows as plain values ------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Fields:
    """Gives the named attributes of a row."""

    names: tuple[str, ...]

    def __call__(self, row: Model) -> dict:
        return {name: plain(_reached(row, name)) for name in self.names}


def fields(*names: str) -> Fields:
    """A function that gives these attributes of a row (``text``, ``review__clip``)."""
    return Fields(names)


def plain(value: Any) -> Any:
    """A value as JSON has it: times in ISO 8601, a person by name, another row by its number.

    Raises
    ------
    TypeError
        For what has no such form, bytes among them.
    """
    if value is None or isinstance(value, bool | int | float | str):
        return value
    if isinstance(value, date | time):  # a datetime is one
        return value.isoformat()
    if isinstance(value, UUID):
        return str(value)
    if isinstance(value, Person):
        return value.name
    if isinstance(value, Model):
        return plain(value.pk)
    if isinstance(value, Mapping):
        return {str(key): plain(each) for key, each in value.items()}
    if isinstance(value, list | tuple):
        return [plain(each) for each in value]
    raise TypeError(f"{type(value).__name__} has no plain form; name a field that has one")


def _reached(instance: Model, name: str) -> Any:
    value: Any = instance
    for part in name.split("__"):
        value = getattr(value, part)
    return value
