"""A plan's version: who changes its order or its days says which one was seen."""

from django.db.models import F

from studio.accounts.models import Person

from .models import Rotation


class Changed(Exception):
    """Somebody else changed the plan first; nothing was overwritten."""


def take(rotation: Rotation, teacher: Person, seen: int, **changes) -> None:
    """Make the change the plan's next version, or raise when ``seen`` is not the present one."""
    mine = Rotation.objects.filter(pk=rotation.pk, version=seen)
    if not mine.update(version=F("version") + 1, changed_by=teacher, **changes):
        raise Changed


def note(rotation: Rotation, teacher: Person) -> None:
    """Make a change that holds whatever else was changed the plan's next version."""
    Rotation.objects.filter(pk=rotation.pk).update(version=F("version") + 1, changed_by=teacher)
