"""What people are told: letters, and notices on their pages."""

from django.db import models
from django.db.models import Q
from django.utils import timezone

from studio import figures
from studio.translating import gettext_lazy

from .log_ins import AddressChange, PasswordLink
from .people import Person


class Letter(models.Model):
    """A letter to be sent by a worker. Its words go once it is sent, and the row a day later.

    Of one that tells of an erasure the row goes with the words.
    """

    class Kind(models.TextChoices):
        INVITATION = "invitation", gettext_lazy("invitation")
        NEW_PASSWORD = "new_password", gettext_lazy("new password")
        ANSWER = "answer", gettext_lazy("answer")
        ACCOUNT = "account", gettext_lazy("about an account")
        OPERATOR = "operator", gettext_lazy("to the operator")
        ERASED = "erased", gettext_lazy("that something is erased")
        LESSONS = "lessons", gettext_lazy("about lessons")

    kind = models.CharField(max_length=16, choices=Kind)
    to = models.EmailField()
    subject = models.CharField(max_length=200, blank=True)
    body = models.TextField(
        blank=True, help_text="Of a new password: the studio's address; the worker writes the rest."
    )
    created_at = models.DateTimeField(default=timezone.now)
    attempts = models.PositiveSmallIntegerField(default=0)
    person = models.ForeignKey(
        Person,
        models.CASCADE,
        null=True,
        blank=True,
        related_name="+",
        help_text="In whose quiet hours it waits; empty: it waits for nobody.",
    )
    kinds = models.CharField(
        max_length=200, blank=True, help_text="The optional kinds it tells of, with blanks between."
    )
    rests_until = models.DateTimeField(null=True, blank=True, help_text="Nobody else takes it now.")
    sent_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["created_at", "pk"]
        indexes = [models.Index(fields=["sent_at", "rests_until"], name="letters_due")]

    def __str__(self) -> str:
        return (
            f"{self.get_kind_display()}, {figures.long_date(timezone.localtime(self.created_at))}"
        )


class Notice(models.Model):
    """What somebody is told about an account, on every page until it is read."""

    to = models.ForeignKey(Person, models.CASCADE, related_name="notices")
    kind = models.CharField(
        max_length=16, default="account", help_text="A name of the registry of kinds."
    )
    text = models.TextField()
    link = models.ForeignKey(
        PasswordLink,
        models.CASCADE,
        null=True,
        blank=True,
        related_name="notices",
        help_text="What it tells of.",
    )
    address_change = models.ForeignKey(
        AddressChange,
        models.CASCADE,
        null=True,
        blank=True,
        related_name="notices",
        help_text="What it asks the guardian; it stands there until somebody has answered.",
    )
    created_at = models.DateTimeField(default=timezone.now)
    read_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["created_at", "pk"]
        indexes = [
            models.Index(fields=["to"], name="notices_unread", condition=Q(read_at__isnull=True))
        ]

    def __str__(self) -> str:
        return self.text
