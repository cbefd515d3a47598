"""Each guardian's link and each instrument goes to the studios in which it held until now.

A link opened a place where the child had one and the studio knew the guardian; an instrument was
read wherever the child had a place. So each gets a row for every such studio, and nobody sees less
or more than before. What held nowhere goes to the studio that knows one of the two at all; a row
that belongs to no studio opened nothing, and goes.
"""

from django.db import migrations
from django.db.models import F, Q


def spread(apps, schema_editor) -> None:
    alias = schema_editor.connection.alias
    spreading = Spreading(apps, alias)
    for link in apps.get_model("accounts", "GuardianLink").objects.using(alias).order_by("pk"):
        spreading.over(link, spreading.studios_of_link(link))
    for instrument in apps.get_model("accounts", "Instrument").objects.using(alias).order_by("pk"):
        spreading.over(instrument, spreading.studios_of_instrument(instrument))


class Spreading:
    """Finds the studios of a row and gives each its own."""

    def __init__(self, apps, alias: str) -> None:
        self.places = apps.get_model("accounts", "Enrolment").objects.using(alias)
        self.members = apps.get_model("accounts", "Membership").objects.using(alias)

    def studios_of_link(self, link) -> set[int]:
        at_the_time = _studios(_overlapping(self.places.filter(pupil=link.pupil_id), link))
        known = _studios(self.members.filter(person=link.guardian_id, role="guardian"))
        ever = _studios(self.places.filter(pupil=link.pupil_id))
        return at_the_time & known or ever & known or at_the_time or ever or known

    def studios_of_instrument(self, instrument) -> set[int]:
        ever = _studios(self.places.filter(pupil=instrument.pupil_id))
        return ever or _studios(self.members.filter(person=instrument.pupil_id, role="pupil"))

    def over(self, row, studios: set[int]) -> None:
        """The row itself for the first of them, a copy for each other one."""
        if not studios:
            row.delete()
            return
        for number, studio in enumerate(sorted(studios)):
            if number:
                row.pk = None
                row._state.adding = True
            row.studio_id = studio
            row.save()


def _studios(rows) -> set[int]:
    return set(rows.values_list("studio_id", flat=True))


def _overlapping(places, link):
    """Places that were held on some day on which the link was."""
    begun = Q(started_on__lt=link.ended_on) if link.ended_on else Q()
    held = places.filter(Q(ended_on__isnull=True) | Q(ended_on__gt=link.started_on))
    return held.filter(begun).exclude(ended_on=F("started_on"))


class Migration(migrations.Migration):
    dependencies = [("accounts", "0007_what_belongs_to_a_studio")]

    operations = [migrations.RunPython(spread, migrations.RunPython.noop)]
