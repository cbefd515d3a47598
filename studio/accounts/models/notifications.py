"""What people are told of what happens in lessons, and how each wants to be told."""

from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext as _

from studio.accounts.names import OneLineField
from studio.translating import gettext_lazy

from .people import Person
from .studios import Studio


class Notification(models.Model):
    """Something that one person is told, once: the ``key`` names what happened.

    It holds no sentence. Which one it is follows from kind, reader and rows
    (:mod:`studio.accounts.notifications.kinds`), so it is said in the reader's language and with
    the names of today, and there is nothing in it to be found when somebody is erased.

    A letter is wanted while ``letter_due_at`` is set; writing it takes the time away and notes
    ``lettered_at``, in one transaction.
    """

    to = models.ForeignKey(Person, models.CASCADE, related_name="notifications")
    kind = models.CharField(max_length=16, help_text="A name of the registry of kinds.")
    key = models.CharField(max_length=100, help_text="What happened; nobody is told it twice.")
    about = models.ForeignKey(
        Person, models.CASCADE, related_name="+", help_text="The pupil whose lessons it is about."
    )
    by = models.ForeignKey(
        Person, models.SET_NULL, null=True, blank=True, related_name="+", help_text="Who did it."
    )
    studio = models.ForeignKey(Studio, models.CASCADE, related_name="notifications")
    what = OneLineField(
        max_length=200, blank=True, help_text=gettext_lazy("The title of a drill, for instance.")
    )
    path = models.CharField(max_length=200, help_text="The page on which it is to be read.")
    created_at = models.DateTimeField(default=timezone.now)
    on_page = models.BooleanField(default=True)
    seen_at = models.DateTimeField(null=True, blank=True)
    letter_due_at = models.DateTimeField(null=True, blank=True)
    lettered_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-created_at", "-pk"]
        constraints = [
            models.UniqueConstraint(fields=["to", "key"], name="nobody_is_told_it_twice")
        ]
        indexes = [
            models.Index(
                fields=["letter_due_at"],
                name="notifications_to_write",
                condition=Q(letter_due_at__isnull=False),
            ),
            models.Index(fields=["to", "-created_at"], name="notifications_of_one"),
            models.Index(fields=["created_at"], name="notifications_by_age"),
        ]

    def __str__(self) -> str:
        return f"{self.kind}, number {self.pk}"


class NotificationChoice(models.Model):
    """That somebody wants one kind of thing told, or not; without a row it is as usual."""

    person = models.ForeignKey(Person, models.CASCADE, related_name="notification_choices")
    kind = models.CharField(max_length=16, help_text="A name of the registry of kinds.")
    on_page = models.BooleanField(default=True)
    by_letter = models.BooleanField(default=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["person", "kind"], name="one_choice_a_kind")]

    def __str__(self) -> str:
        return f"{self.kind} for {self.person_id}"


class NotificationTimes(models.Model):
    """When somebody's letters come: at once or gathered, and never in her quiet hours.

    Hours are whole, by the clock of her ``time_zone``; equal ends mean that there are none.
    """

    class Pace(models.TextChoices):
        AT_ONCE = "at_once", gettext_lazy("as soon as there is something")
        DAILY = "daily", gettext_lazy("once a day")
        WEEKLY = "weekly", gettext_lazy("once a week")

    person = models.OneToOneField(Person, models.CASCADE, related_name="notification_times")
    pace = models.CharField(max_length=8, choices=Pace, default=Pace.AT_ONCE)
    hour = models.PositiveSmallIntegerField(default=17, help_text="0 to 23, of daily and weekly.")
    weekday = models.PositiveSmallIntegerField(default=0, help_text="0 is Monday, of weekly.")
    quiet_from = models.PositiveSmallIntegerField(default=21, help_text="0 to 23.")
    quiet_until = models.PositiveSmallIntegerField(default=7, help_text="0 to 23.")
    time_zone = models.CharField(
        max_length=64, blank=True, help_text="A name such as Europe/Berlin; empty: the studio’s."
    )

    class Meta:
        verbose_name_plural = gettext_lazy("notification times")

    def __str__(self) -> str:
        return _("%(get_pace_display)s, quiet from %(quiet_from)s to %(quiet_until)s") % {
            "get_pace_display": self.get_pace_display(),
            "quiet_from": self.quiet_from,
            "quiet_until": self.quiet_until,
        }


class CalendarFeed(models.Model):
    """The address at which somebody's calendar reads her dates; the row keeps the secret's hash.

    Revoked, the row goes. Readings are counted by the hour, so that none asks without end.
    """

    person = models.OneToOneField(Person, models.CASCADE, related_name="calendar_feed")
    secret_sha256 = models.CharField(max_length=64, unique=True)
    made_at = models.DateTimeField(default=timezone.now)
    read_at = models.DateTimeField(null=True, blank=True)
    hour_began_at = models.DateTimeField(default=timezone.now)
    reads = models.PositiveIntegerField(default=0, help_text="Within that hour.")

    def __str__(self) -> str:
        return _("calendar of %(person_id)s") % {"person_id": self.person_id}
