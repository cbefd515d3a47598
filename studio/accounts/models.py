"""People, studios, and who stands in which relation to whom.

A person has no role of their own. A role is a dated :class:`Membership` of a studio; what a
pupil studies, and with whom, is a dated :class:`Enrolment`; who answers for a child is a dated
:class:`GuardianLink`. "Current" always means: started, and not ended, on today's date.
"""

import uuid

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.contrib.auth.hashers import UNUSABLE_PASSWORD_PREFIX
from django.contrib.sessions.base_session import AbstractBaseSession
from django.db import models
from django.db.models import Q
from django.utils import timezone

from studio import figures

from .ended_lessons import LessonsEnd as LessonsEnd  # Django finds tables in this module
from .names import OneLineField, listed
from .prepared import Given, Prepared
from .secret_words import as_typed


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


class Level(models.TextChoices):
    """How fine the ear of the judgement is; the tolerances belong to the judging policy."""

    FIRST_STEPS = "first_steps", "first steps"
    GROWING = "growing", "growing"
    ADVANCED = "advanced", "advanced"


class Tuning(models.TextChoices):
    JUST = "just", "just (beatless)"
    PYTHAGOREAN = "pythagorean", "Pythagorean"
    EQUAL = "equal", "equal temperament"


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
        TEACHER = "teacher", "teacher"
        PUPIL = "pupil", "pupil"
        GUARDIAN = "guardian", "guardian"

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
        VIOLIN = "violin", "violin"
        VIOLA = "viola", "viola"

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


class Consent(models.Model):
    """Leave given for one purpose, in one version of its words. A withdrawal wins at once.

    The rows are the record of who agreed and when, so none is changed but by its withdrawal, or
    once it rests because nobody is left who could withdraw it. What holds now, and who may decide:
    :mod:`studio.accounts.consent`.
    """

    class Purpose(models.TextChoices):
        RECORDINGS = "recordings", "recordings of practice"

    pupil = models.ForeignKey(Person, models.CASCADE, related_name="consents")
    studio = models.ForeignKey(Studio, models.CASCADE, related_name="consents")
    purpose = models.CharField(max_length=32, choices=Purpose)
    version = models.PositiveIntegerField(default=1)
    given_by = models.ForeignKey(Person, models.PROTECT, related_name="consents_given")
    given_at = models.DateTimeField(default=timezone.now)
    withdrawn_by = models.ForeignKey(
        Person, models.PROTECT, null=True, blank=True, related_name="consents_withdrawn"
    )
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    rests_since = models.DateTimeField(
        null=True, blank=True, help_text="When the last one who could withdraw it was gone."
    )

    class Meta:
        ordering = ["given_at", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["pupil", "studio", "purpose", "version"],
                condition=Q(withdrawn_at__isnull=True, rests_since__isnull=True),
                name="one_standing_consent",
            )
        ]

    def __str__(self) -> str:
        return f"{self.get_purpose_display()}: {self.pupil}"


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
        verbose_name_plural = "invited children"

    def __str__(self) -> str:
        return self.name


class Letter(models.Model):
    """A letter to be sent by a worker. Its words go once it is sent, and the row a day later.

    Of one that tells of an erasure the row goes with the words.
    """

    class Kind(models.TextChoices):
        INVITATION = "invitation", "invitation"
        NEW_PASSWORD = "new_password", "new password"
        ANSWER = "answer", "answer"
        ACCOUNT = "account", "about an account"
        OPERATOR = "operator", "to the operator"
        ERASED = "erased", "that something is erased"

    kind = models.CharField(max_length=16, choices=Kind)
    to = models.EmailField()
    subject = models.CharField(max_length=200, blank=True)
    body = models.TextField(
        blank=True, help_text="Of a new password: the studio's address; the worker writes the rest."
    )
    created_at = models.DateTimeField(default=timezone.now)
    attempts = models.PositiveSmallIntegerField(default=0)
    rests_until = models.DateTimeField(null=True, blank=True, help_text="Nobody else takes it now.")
    sent_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["created_at", "pk"]
        indexes = [models.Index(fields=["sent_at", "rests_until"], name="letters_due")]

    def __str__(self) -> str:
        return (
            f"{self.get_kind_display()}, {figures.long_date(timezone.localtime(self.created_at))}"
        )


class OpenSession(AbstractBaseSession):
    """A browser that is known, and whose it is once somebody logged in."""

    person = models.ForeignKey(
        Person, models.CASCADE, null=True, blank=True, related_name="open_sessions"
    )
    agent = models.CharField(max_length=300, blank=True, help_text="What the browser calls itself.")
    since = models.DateTimeField(null=True, blank=True, help_text="When the person logged in.")
    used_at = models.DateTimeField(default=timezone.now, help_text="To about five minutes.")

    class Meta:
        verbose_name = "open session"

    def __str__(self) -> str:
        return f"{self.person or 'nobody'}, since {self.since}"


class TryCount(models.Model):
    """Failed tries at a secret: see :mod:`studio.accounts.throttling`."""

    key = models.CharField(max_length=64, unique=True, help_text="Hashed.")
    account = models.CharField(max_length=64, blank=True, db_index=True, help_text="Hashed.")
    failures = models.PositiveIntegerField(default=0)
    latest = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.failures} failed, the latest {self.latest}"


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
        return f"a new password for {self.person}"


class RecoveryCode(models.Model):
    """One of the printed codes of its owner; each works once.

    Of two kinds: with one a new password is chosen, the other does in place of the phone's code.
    """

    class Kind(models.TextChoices):
        PASSWORD = "password", "for a lost password"
        PHONE = "phone", "for a lost phone"

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
        return f"a recovery code of {self.person}"


class Notice(models.Model):
    """What somebody is told about an account, on every page until it is read."""

    to = models.ForeignKey(Person, models.CASCADE, related_name="notices")
    text = models.TextField()
    link = models.ForeignKey(
        PasswordLink,
        models.CASCADE,
        null=True,
        blank=True,
        related_name="notices",
        help_text="What it tells of.",
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


class AuditEntry(models.Model):
    """What a person of the studio or the operator did: who, what, about whom or which, when.

    Never changed.

    Written by :mod:`studio.accounts.audit` with the act itself; read by the studio's owner. It
    holds no names: a person who is erased is gone from it.
    """

    class Act(models.TextChoices):
        INVITED = "invited", "invited somebody"
        INVITATION_TAKEN_BACK = "invitation_taken_back", "took an invitation back"
        CAME = "came", "accepted an invitation"
        LESSONS_ENDED = "lessons_ended", "ended lessons"
        LESSONS_RESUMED = "lessons_resumed", "took the end of lessons back"
        HANDED_OVER = "handed_over", "gave a pupil another teacher"
        TEACHER_ENDED = "teacher_ended", "ended a teacher’s place"
        STUDIO_CLOSED = "studio_closed", "closed the studio"
        GUARDIAN_LINKED = "guardian_linked", "linked a guardian"
        GUARDIAN_UNLINKED = "guardian_unlinked", "ended a guardian’s link"
        GUARDIAN_CONFIRMED = "guardian_confirmed", "confirmed a guardian who teaches here"
        CONSENT_GIVEN = "consent_given", "gave consent"
        CONSENT_WITHDRAWN = "consent_withdrawn", "withdrew consent"
        PASSWORD_LINK = "password_link", "made a link for a new password"
        CHILD_LOG_IN = "child_log_in", "changed a child’s log-in"
        SETTINGS = "settings", "changed settings"
        TOLERANCE = "tolerance", "changed a clip’s tolerance"
        RETURNED = "returned", "returned a clip"
        RETURN_TAKEN_BACK = "return_taken_back", "took a return back"
        ERASED = "erased", "erased a clip"
        LESSONS_ERASED = "lessons_erased", "erased all that was kept about a pupil"
        ACCOUNT_ERASED = "account_erased", "erased an account"
        TRIED_AGAIN = "tried_again", "let work on a clip be tried again"
        OWNER_CHANGED = "owner_changed", "made somebody the owner"
        OPERATOR_CHANGED = "operator_changed", "gave or took the right to look after the service"

    at = models.DateTimeField(default=timezone.now)
    act = models.CharField(max_length=24, choices=Act)
    by = models.ForeignKey(Person, models.SET_NULL, null=True, blank=True, related_name="+")
    by_operator = models.BooleanField(default=False, help_text="As the operator, or by a command.")
    studio = models.ForeignKey(
        Studio, models.CASCADE, null=True, blank=True, related_name="audit_entries"
    )
    about = models.ForeignKey(Person, models.SET_NULL, null=True, blank=True, related_name="+")
    clip_id = models.UUIDField(null=True, blank=True)
    detail = models.CharField(max_length=120, blank=True, help_text="Words without names.")

    class Meta:
        ordering = ["-at", "-pk"]
        indexes = [models.Index(fields=["studio", "-at"], name="audit_of_a_studio")]
        verbose_name_plural = "audit entries"

    def __str__(self) -> str:
        return f"{self.get_act_display()}, {figures.date_time(timezone.localtime(self.at))}"
