"""The upgrade that gives each guardian's link and each instrument a studio: nobody loses a place.

It is run as an installation runs it, from the version before, on SQLite and on PostgreSQL.
"""

from datetime import timedelta

from django.db import connection
from django.db.migrations.executor import MigrationExecutor
from django.utils import timezone

from studio.accounts import access
from studio.accounts.models import GuardianLink, Instrument, Person

BEFORE = [("accounts", "0006_account_recovery")]
TODAY = timezone.localdate()
YEAR = timedelta(days=365)


def migrated(to: list[tuple[str, str]]):
    executor = MigrationExecutor(connection)
    executor.migrate(to)
    return executor.loader.project_state(to).apps


class Old:
    """Rows as the version before wrote them."""

    def __init__(self, apps) -> None:
        self.model = lambda name: apps.get_model("accounts", name)
        self.studios = [self.add("Studio", name=f"Studio {number}") for number in range(3)]
        self.teacher = self.person("Teacher", "teacher", self.studios)

    def add(self, model: str, **fields):
        return self.model(model).objects.create(**fields)

    def person(self, name: str, role: str, studios):
        made = self.add("Person", name=name, email=f"{name.lower()}@a.example", password="!")
        for studio in studios:
            self.add("Membership", person=made, studio=studio, role=role, started_on=TODAY - YEAR)
        return made

    def place(self, pupil, studio, **dates) -> None:
        dates = {"started_on": TODAY - YEAR} | dates
        self.add("Enrolment", pupil=pupil, studio=studio, teacher=self.teacher, **dates)

    def link(self, guardian, pupil, **dates) -> None:
        self.add("GuardianLink", guardian=guardian, pupil=pupil, **dates)


def test_each_row_goes_to_the_studios_where_it_held_and_nobody_loses_a_place(either_database):
    old = Old(migrated(BEFORE))
    first, second, third = old.studios
    child = old.person("Child", "pupil", [first, second])
    former = old.person("Former", "pupil", [third])
    both = old.person("Both", "guardian", [first, second, third])
    one = old.person("One", "guardian", [second])
    for studio in (first, second):
        old.place(child, studio)
    old.place(former, third, ended_on=TODAY - timedelta(days=9))
    old.link(both, child, started_on=TODAY - YEAR)
    old.link(one, child, started_on=TODAY - YEAR)
    old.link(one, child, started_on=TODAY - 2 * YEAR, ended_on=TODAY - YEAR)
    old.link(both, former, started_on=TODAY - YEAR)
    old.add("Instrument", pupil=child, string_length_mm=285.0, started_on=TODAY - YEAR)
    old.add("Instrument", pupil=former, string_length_mm=328.0, started_on=TODAY - YEAR)
    migrated(MigrationExecutor(connection).loader.graph.leaf_nodes())

    links = sorted(
        (link.guardian.name, link.pupil.name, link.studio.name, link.ended_on is None)
        for link in GuardianLink.objects.select_related("guardian", "pupil", "studio")
    )
    assert links == [
        ("Both", "Child", "Studio 0", True),
        ("Both", "Child", "Studio 1", True),
        ("Both", "Former", "Studio 2", True),
        ("One", "Child", "Studio 1", False),
        ("One", "Child", "Studio 1", True),
    ]
    assert sorted(
        (row.pupil.name, row.studio.name, row.string_length_mm) for row in Instrument.objects.all()
    ) == [
        ("Child", "Studio 0", 285.0),
        ("Child", "Studio 1", 285.0),
        ("Former", "Studio 2", 328.0),
    ]
    reached = {
        name: [place.studio.name for place in access.enrolments_guarded_by(person).order_by("pk")]
        for name in ("Both", "One")
        for person in [Person.objects.get(name=name)]
    }
    assert reached == {"Both": ["Studio 0", "Studio 1"], "One": ["Studio 1"]}
