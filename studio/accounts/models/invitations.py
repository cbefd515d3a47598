"""Places that are offered, and the children who come with a guardian."""

from django.db import models
from django.utils import timezone

from studio.accounts.names import OneLineField, listed
from studio.translating import gettext_lazy

from .people import Person
from .studios import Instrument, Membership, Studio


class Invitation(models.Model):
    """A place that is offered to one address, for a few days and to be taken once.

    The link's secret is nowhere but in the link: the row keeps its hash.
    """

    studio = models.ForeignKey(Studio, models.CASCADE, related_name="invitations")
    role = models.CharField(max_length=16, choices=Membership.Role)
    name = OneLineField(max_length=120)
    email = models.EmailField()
    birth_year = models.PositiveSmallIntegerField(null=True, blank=True)
    pupil = models.ForeignKey(
        Person,
        models.CASCADE,
        null=True,
        blank=True,
        related_name="+",
        help_text="Whose guardian is invited.",
    )
    invited_by = models.ForeignKey(
        Person,
        models.CASCADE,
        null=True,
        blank=True,
        related_name="+",
        help_text="The pupil's teacher to be; empty when the operator invites a studio's first.",
    )
    token_sha256 = models.CharField(max_length=64, unique=True)
    created_at = models.DateTimeField(default=timezone.now)
    expires_at = models.DateTimeField()
    accepted_at = models.DateTimeField(null=True, blank=True)
    cancelled_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["created_at", "pk"]

    def __str__(self) -> str:
        return f"{self.name} as {self.get_role_display()} of {self.studio}"

    @property
    def of_whom(self) -> str:
        """The children of an invited guardian, by name; empty for others."""
        return listed([self.pupil] if self.pupil else self.children.all())


class InvitedChild(models.Model):
    """A child who comes in by her guardian's invitation; the row goes once she is there."""

    invitation = models.ForeignKey(Invitation, models.CASCADE, related_name="children")
    name = OneLineField(max_length=120)
    birth_year = models.PositiveSmallIntegerField()
    kind = models.CharField(max_length=16, choices=Instrument.Kind, default=Instrument.Kind.VIOLIN)
    string_length_mm = models.FloatField()

    class Meta:
        ordering = ["pk"]
        verbose_name_plural = gettext_lazy("invited children")

    def __str__(self) -> str:
        return self.name
