"""A line on other pages that leads to a pupil's key rotation."""

from django import template
from django.urls import reverse

from studio.accounts.models import Enrolment
from studio.drills.rotation import access
from studio.drills.rotation.overview import overview_of

register = template.Library()


@register.inclusion_tag("drills/rotation_line.html", takes_context=True)
def keys_line(context, enrolment: Enrolment) -> dict:
    """The next keys and their day; for the teacher, before there is a plan, the way to one.

    As whom the person looks is said by ``area`` in the page's context.
    """
    area = context.get("area")
    found = access.rotation_of(enrolment)
    return {
        "begin": found is None and area == "teacher",
        "next": overview_of(found).next if found else None,
        "is_there": found is not None,
        "href": _address(area, enrolment),
    }


def _address(area: str | None, enrolment: Enrolment) -> str:
    if area == "pupil":
        return reverse("rotation_own")
    page = "rotation" if area == "teacher" else "rotation_child"
    return reverse(page, args=[enrolment.pk])
