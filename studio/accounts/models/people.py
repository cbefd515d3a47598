"""People: who logs in, and with what. "Current" always means: started, and not ended, today."""

import uuid

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.contrib.auth.hashers import UNUSABLE_PASSWORD_PREFIX
from django.db import models
from django.db.models import Q
from django.utils import timezone

from studio.accounts.names import OneLineField
from studio.accounts.prepared import Given, Prepared
from studio.accounts.secret_words import as_typed


def current(prefix: str = "") -> Q:
    """A filter for dated rows that hold today; ``prefix`` reaches them through a relation."""
    today = timezone.localdate()
    ended = Q(**{f"{prefix}ended_on__isnull": True}) | Q(**{f"{prefix}ended_on__gt": today})
    return Q(**{f"{prefix}started_on__lte": today}) & ended


class Dated(models.Model):
    """A row that holds from one day (inclusive) until another (exclusive, or open)."""

    started_on = models.DateField(default=timezone.localdate)
    ended_on = models.DateField(null=True, blank=True)

    class Meta:
        abstract = True


class PersonManager(BaseUserManager):
    def get(self, *args, **kwargs) -> "Person":
        """As ever; by number alone, as who is logged in is asked for at each request, prepared."""
        by_number = not args and [*kwargs] == ["pk"] and isinstance(kwargs["pk"], int)
        if not by_number or type(self) is not PersonManager or self._db:
            return super().get(*args, **kwargs)
        found = _by_number.first(**kwargs)
        if found is None:
            raise Person.DoesNotExist("Person matching query does not exist.")
        return found

    def create_user(self, email: str | None, password: str | None = None, **fields) -> "Person":
        """Somebody new; without an address for a child who has a log-in name, or no log-in."""
        address = self.normalize_email(email).lower() or None
        person = self.model(email=address, **fields)
        person.set_password(password)
        person.save(using=self._db)
        return person

    def get_by_natural_key(self, username: str | None) -> "Person":
        return self.get(login_named(username))

    def who_logs_in_with(self, typed: str | None) -> "Person | None":
        """The person of an address or a log-in name as somebody typed it."""
        return self.filter(login_named(typed)).first()


def login_named(typed: str | None) -> Q:
    """A filter for people by what they log in with; nobody for nothing.

    An address has an @ and a log-in name has none, so that no two people answer to one word.
    """
    said = (typed or "").strip().lower()
    return Q(email=said) if "@" in said else Q(login_name=said or None, login_name__isnull=False)


class Person(AbstractBaseUser):
    """Anyone in a studio. Kept in lower case: what she logs in with.

    That is an address, or, for a child, a log-in name that the guardian chose; a child may have
    neither, and then no password either. See :mod:`studio.accounts.child_log_in`.
    """

    email = models.EmailField(unique=True, null=True, blank=True)
    login_name = models.CharField(
        max_length=30, unique=True, null=True, blank=True, help_text="A child's, of no address."
    )
    password_is_code = models.BooleanField(
        default=False, help_text="Made by the guardian; hyphens and capitals do not count."
    )
    name = OneLineField(max_length=120)
    birth_year = models.PositiveSmallIntegerField(
        null=True,
        blank=True,
        help_text="Of a pupil, and no more than the year; it says who agrees.",
    )
    is_active = models.BooleanField(default=True)
    is_operator = models.BooleanField(
        default=False, help_text="Sees how the service is, and nothing of studios by that."
    )
    erasure_id = models.UUIDField(
        default=uuid.uuid4,
        unique=True,
        editable=False,
        help_text="What the list of the erased knows the account by.",
    )

    objects = PersonManager()

    USERNAME_FIELD = "email"
    REQUIRED_FIELDS = ["name"]

    class Meta:
        verbose_name_plural = "people"
        constraints = [
            models.CheckConstraint(
                condition=Q(email__isnull=False)
                | Q(login_name__isnull=False)
                | Q(password__startswith=UNUSABLE_PASSWORD_PREFIX),
                name="a_password_has_a_name",
            )
        ]

    def __str__(self) -> str:
        return self.name

    def check_password(self, raw_password: str | None) -> bool:
        """A code is taken as it was meant, however it was typed."""
        if self.password_is_code and raw_password is not None:
            raw_password = as_typed(raw_password)
        return super().check_password(raw_password)

    @property
    def logs_in_with(self) -> str:
        """The address, or else the log-in name; empty for a child who does not log in."""
        return self.email or self.login_name or ""

    @property
    def log_in_names(self) -> list[str]:
        return [name for name in (self.email, self.login_name) if name]

    @property
    def first_name(self) -> str:
        """What people who know her say; of a name without words, all of it."""
        return next(iter(self.name.split()), self.name)


_by_number = Prepared(lambda: Person.objects.filter(pk=Given("pk", models.BigIntegerField())))
