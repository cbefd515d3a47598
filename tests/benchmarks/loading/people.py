"""The people of a large studio and of three small ones beside it: all invented, from a seed."""

import random
from dataclasses import dataclass, field
from datetime import timedelta

from django.utils import timezone

from studio.accounts.models import (
    Consent,
    Enrolment,
    GuardianLink,
    Instrument,
    Level,
    Membership,
    Person,
    Studio,
)

FIRST = ("Alda", "Bren", "Cato", "Dorit", "Elke", "Falk", "Gesa", "Hanno", "Inka", "Joris", "Kaja")
LAST = ("Aspen", "Birkner", "Culver", "Dornig", "Eberly", "Farnham", "Gellert", "Hovde", "Islin")
BEGAN = timedelta(weeks=60)
A_FAMILY = 3  # children of one guardian


@dataclass
class House:
    """One studio: its teachers, its pupils' places, and who answers for the children."""

    studio: Studio
    teachers: list[Person] = field(default_factory=list)
    places: list[Enrolment] = field(default_factory=list)
    guardians: list[Person] = field(default_factory=list)


class Registry:
    """Makes people, each with an address of their own and a password that nobody knows."""

    def __init__(self, chance: random.Random) -> None:
        self.chance, self.made = chance, 0

    def people(self, many: int, **fields) -> list[Person]:
        found = []
        for _ in range(many):
            self.made += 1
            first, last = self.chance.choice(FIRST), self.chance.choice(LAST)
            address = f"person-{self.made}@studio.example"
            found.append(Person(email=address, name=f"{first} {last}", password="!", **fields))
        return Person.objects.bulk_create(found)


def make_house(name: str, pupils: int, teachers: int, registry: Registry) -> House:
    """A studio of so many people; every other pupil is a child with a guardian."""
    house = House(Studio.objects.create(name=name, return_delay_min=10))
    house.teachers = registry.people(teachers)
    year = timezone.localdate().year
    children = registry.people(pupils // 2, birth_year=year - 11)
    grown_up = registry.people(pupils - len(children), birth_year=year - 34)
    house.guardians = registry.people(-(-len(children) // A_FAMILY))
    _join(house, [*children, *grown_up])
    agreed = _guard(house, children) | {pupil.pk: pupil for pupil in grown_up}
    house.places = _enrol(house, [*children, *grown_up], agreed, registry.chance)
    return house


def _join(house: House, pupils: list[Person]) -> None:
    began = timezone.localdate() - BEGAN
    held = ((house.teachers, "teacher"), (house.guardians, "guardian"), (pupils, "pupil"))
    Membership.objects.bulk_create(
        Membership(person=who, studio=house.studio, role=role, started_on=began)
        for people, role in held
        for who in people
    )


def _guard(house: House, children: list[Person]) -> dict[int, Person]:
    """Who agrees for each child, by the child's number."""
    who = {child.pk: house.guardians[n // A_FAMILY] for n, child in enumerate(children)}
    GuardianLink.objects.bulk_create(
        GuardianLink(guardian=who[child.pk], pupil=child, studio=house.studio) for child in children
    )
    return who


def _enrol(
    house: House, pupils: list[Person], agreed: dict[int, Person], chance: random.Random
) -> list[Enrolment]:
    began, here = timezone.localdate() - BEGAN, {"studio": house.studio}
    Instrument.objects.bulk_create(
        Instrument(
            pupil=pupil, started_on=began, kind=chance.choice(Instrument.Kind.values), **here
        )
        for pupil in pupils
    )
    Consent.objects.bulk_create(
        Consent(pupil=pupil, purpose="recordings", given_by=agreed[pupil.pk], **here)
        for pupil in pupils
    )
    return Enrolment.objects.bulk_create(
        Enrolment(
            pupil=pupil,
            teacher=house.teachers[n % len(house.teachers)],
            level=chance.choice(Level.values),
            started_on=began,
            **here,
        )
        for n, pupil in enumerate(pupils)
    )
