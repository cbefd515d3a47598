"""What opens an account, and what was tried."""

from django.contrib.sessions.base_session import AbstractBaseSession
from django.db import models
from django.utils import timezone
from django.utils.translation import gettext as _

from studio.translating import gettext_lazy

from .people import Person


class OpenSession(AbstractBaseSession):
    """A browser that is known, and whose it is once somebody logged in."""

    person = models.ForeignKey(
        Person, models.CASCADE, null=True, blank=True, related_name="open_sessions"
    )
    agent = models.CharField(max_length=300, blank=True, help_text="What the browser calls itself.")
    since = models.DateTimeField(null=True, blank=True, help_text="When the person logged in.")
    used_at = models.DateTimeField(default=timezone.now, help_text="To about five minutes.")

    class Meta:
        verbose_name = gettext_lazy("open session")

    def __str__(self) -> str:
        return f"{self.person or 'nobody'}, since {self.since}"


class TryCount(models.Model):
    """Failed tries at a secret: see :mod:`studio.accounts.throttling`."""

    key = models.CharField(max_length=64, unique=True, help_text="Hashed.")
    account = models.CharField(max_length=64, blank=True, db_index=True, help_text="Hashed.")
    failures = models.PositiveIntegerField(default=0)
    latest = models.DateTimeField()

    def __str__(self) -> str:
        return _("%(failures)s failed, the latest %(latest)s") % {
            "failures": self.failures,
            "latest": self.latest,
        }


class PasswordLink(models.Model):
    """A link with which a new password is chosen, once. The row keeps the secret's hash."""

    person = models.ForeignKey(Person, models.CASCADE, related_name="password_links")
    made_by = models.ForeignKey(
        Person,
        models.CASCADE,
        null=True,
        blank=True,
        related_name="+",
        help_text="The pupil's teacher; empty when the operator made it.",
    )
    token_sha256 = models.CharField(max_length=64, unique=True)
    created_at = models.DateTimeField(default=timezone.now)
    expires_at = models.DateTimeField()
    used_at = models.DateTimeField(null=True, blank=True)
    cancelled_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["created_at", "pk"]

    def __str__(self) -> str:
        return _("a new password for %(person)s") % {"person": self.person}


class AddressChange(models.Model):
    """The address that a child wants to log in with, until a guardian has answered."""

    person = models.OneToOneField(Person, models.CASCADE, related_name="address_change")
    email = models.EmailField()
    asked_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["asked_at", "pk"]

    def __str__(self) -> str:
        return _("another address of %(person)s") % {"person": self.person}


class RecoveryCode(models.Model):
    """One of the printed codes of its owner; each works once.

    Of two kinds: with one a new password is chosen, the other does in place of the phone's code.
    """

    class Kind(models.TextChoices):
        PASSWORD = "password", gettext_lazy("for a lost password")
        PHONE = "phone", gettext_lazy("for a lost phone")

    person = models.ForeignKey(Person, models.CASCADE, related_name="recovery_codes")
    kind = models.CharField(max_length=16, choices=Kind, default=Kind.PASSWORD)
    code_sha256 = models.CharField(max_length=64)
    created_at = models.DateTimeField(default=timezone.now)
    used_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(fields=["person", "code_sha256"], name="one_of_each_code")
        ]

    def __str__(self) -> str:
        return _("a recovery code of %(person)s") % {"person": self.person}
