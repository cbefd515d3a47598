"""What goes by itself, in the words of the warnings."""

from django import template

from studio.accounts.models import Enrolment, Person
from studio.rights.retention import warnings
from studio.rights.retention.due import Going

register = template.Library()


@register.filter
def going_words(going: Going, reader: Person) -> str:
    """What goes on a day, as its reader is told."""
    return warnings.said(going, reader)


@register.filter
def how_to_keep(place: Enrolment, reader: Person) -> str:
    """What to do for it."""
    return warnings.how_to_keep(place, reader)
