"""Studios, and who stands in which relation to whom.

A person has no role of her own. A role is a dated :class:`Membership` of a studio; what a pupil
studies, and with whom, is a dated :class:`Enrolment`; who answers for a child is a dated
:class:`GuardianLink`.
"""

import uuid

from django.db import models
from django.db.models import Q

from studio import figures
from studio.accounts.names import OneLineField
from studio.accounts.prepared import Given, Prepared
from studio.translating import gettext_lazy

from .people import Dated, Person, current


class Level(models.TextChoices):
    """How fine the ear of the judgement is; the tolerances belong to the judging policy."""

    FIRST_STEPS = "first_steps", gettext_lazy("first steps")
    GROWING = "growing", gettext_lazy("growing")
    ADVANCED = "advanced", gettext_lazy("advanced")


class Tuning(models.TextChoices):
    JUST = "just", gettext_lazy("just (beatless)")
    PYTHAGOREAN = "pythagorean", gettext_lazy("Pythagorean")
    EQUAL = "equal", gettext_lazy("equal temperament")


class Studio(models.Model):
    """A teaching practice. Nothing crosses from one studio to another."""

    name = OneLineField(max_length=120)
    tuning = models.CharField(max_length=16, choices=Tuning, default=Tuning.JUST)
    a4_hz = models.FloatField(
        null=True, blank=True, help_text="The A the studio tunes to, in hertz; empty: as heard."
    )
    answer_within_days = models.PositiveSmallIntegerField(
        default=7, help_text="The turnaround that the studio promises."
    )
    return_delay_min = models.PositiveSmallIntegerField(
        default=10, help_text="For so long a return can be taken back, and nobody sees it."
    )
    own_login_age = models.PositiveSmallIntegerField(
        default=13,  # years; chosen by this project, and local law stands above it
        help_text="From this age a family's invitation proposes a log-in of the child's own.",
    )
    created_at = models.DateTimeField(auto_now_add=True)

    def __str__(self) -> str:
        return self.name


class Membership(Dated):
    class Role(models.TextChoices):
        TEACHER = "teacher", gettext_lazy("teacher")
        PUPIL = "pupil", gettext_lazy("pupil")
        GUARDIAN = "guardian", gettext_lazy("guardian")

    person = models.ForeignKey(Person, models.CASCADE, related_name="memberships")
    studio = models.ForeignKey(Studio, models.CASCADE, related_name="memberships")
    role = models.CharField(max_length=16, choices=Role)
    is_owner = models.BooleanField(
        default=False, help_text="Of a teacher: answers for the studio, and reads what was done."
    )

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["person", "studio", "role", "started_on"], name="one_membership_a_day"
            )
        ]

    def __str__(self) -> str:
        return f"{self.person}, {self.get_role_display()} at {self.studio}"


class Enrolment(Dated):
    """A pupil's place in a studio, with a teacher. Clips and assignments hang from it."""

    pupil = models.ForeignKey(Person, models.CASCADE, related_name="enrolments")
    studio = models.ForeignKey(Studio, models.CASCADE, related_name="enrolments")
    teacher = models.ForeignKey(Person, models.PROTECT, related_name="taught_enrolments")
    level = models.CharField(max_length=16, choices=Level, default=Level.GROWING)
    reads_simply = models.BooleanField(
        default=False, help_text="The pupil reads what comes back in a child’s words."
    )
    goes_on = models.DateField(
        null=True,
        blank=True,
        help_text="Of ended lessons: when what is left of them goes, as people were told.",
    )
    erasure_id = models.UUIDField(
        default=uuid.uuid4,
        unique=True,
        editable=False,
        help_text="What the list of the erased knows the place by.",
    )

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["pupil", "studio"],
                condition=Q(ended_on__isnull=True),
                name="one_open_enrolment",
            )
        ]

    def __str__(self) -> str:
        return f"{self.pupil} at {self.studio}"

    def instrument(self) -> "Instrument | None":
        """What the pupil plays here today; the newest row wins."""
        return _played.first(pupil=self.pupil_id, studio=self.studio_id)


@Prepared
def _played() -> models.QuerySet["Instrument"]:
    pupil = Given("pupil", models.BigIntegerField())
    here = Instrument.objects.filter(current(), pupil=pupil)
    here = here.filter(studio=Given("studio", models.BigIntegerField()))
    return here.order_by("-started_on", "-pk")[:1]


class Instrument(Dated):
    """What a pupil plays in one studio, dated, because children change size."""

    class Kind(models.TextChoices):
        VIOLIN = "violin", gettext_lazy("violin")
        VIOLA = "viola", gettext_lazy("viola")

    pupil = models.ForeignKey(Person, models.CASCADE, related_name="instruments")
    studio = models.ForeignKey(Studio, models.CASCADE, related_name="instruments")
    kind = models.CharField(max_length=16, choices=Kind, default=Kind.VIOLIN)
    string_length_mm = models.FloatField(default=328.0)

    def __str__(self) -> str:
        return f"{self.get_kind_display()}, {figures.millimetres(self.string_length_mm)}"


class GuardianLink(Dated):
    """Who answers for a pupil in one studio; see :mod:`studio.accounts.guardians`."""

    guardian = models.ForeignKey(Person, models.CASCADE, related_name="guarded")
    pupil = models.ForeignKey(Person, models.CASCADE, related_name="guardians")
    studio = models.ForeignKey(Studio, models.CASCADE, related_name="guardian_links")
    confirmed_at = models.DateTimeField(
        null=True,
        blank=True,
        help_text="When the operator confirmed that a teacher of the studio decides as guardian.",
    )

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["guardian", "pupil", "studio"],
                condition=Q(ended_on__isnull=True),
                name="one_open_link_a_studio",
            )
        ]
        indexes = [models.Index(fields=["pupil", "studio"], name="links_of_a_place")]

    def __str__(self) -> str:
        return f"{self.guardian} for {self.pupil} at {self.studio}"
