"""What was done, by whom."""

from django.db import models
from django.utils import timezone

from studio import figures
from studio.translating import gettext_lazy

from .people import Person
from .studios import Studio


class AuditEntry(models.Model):
    """What a person of the studio or the operator did: who, what, about whom or which, when.

    Never changed.

    Written by :mod:`studio.accounts.audit` with the act itself; read by the studio's owner. It
    holds no names: a person who is erased is gone from it.
    """

    class Act(models.TextChoices):
        INVITED = "invited", gettext_lazy("invited somebody")
        INVITATION_TAKEN_BACK = "invitation_taken_back", gettext_lazy("took an invitation back")
        CAME = "came", gettext_lazy("accepted an invitation")
        LESSONS_ENDED = "lessons_ended", gettext_lazy("ended lessons")
        LESSONS_RESUMED = "lessons_resumed", gettext_lazy("took the end of lessons back")
        HANDED_OVER = "handed_over", gettext_lazy("gave a pupil another teacher")
        TEACHER_ENDED = "teacher_ended", gettext_lazy("ended a teacher’s place")
        STUDIO_CLOSED = "studio_closed", gettext_lazy("closed the studio")
        GUARDIAN_LINKED = "guardian_linked", gettext_lazy("linked a guardian")
        GUARDIAN_UNLINKED = "guardian_unlinked", gettext_lazy("ended a guardian’s link")
        GUARDIAN_CONFIRMED = (
            "guardian_confirmed",
            gettext_lazy("confirmed a guardian who teaches here"),
        )
        CONSENT_GIVEN = "consent_given", gettext_lazy("gave consent")
        CONSENT_WITHDRAWN = "consent_withdrawn", gettext_lazy("withdrew consent")
        PASSWORD_LINK = "password_link", gettext_lazy("made a link for a new password")
        CHILD_LOG_IN = "child_log_in", gettext_lazy("changed a child’s log-in")
        SETTINGS = "settings", gettext_lazy("changed settings")
        TOLERANCE = "tolerance", gettext_lazy("changed a clip’s tolerance")
        RETURNED = "returned", gettext_lazy("returned a clip")
        RETURN_TAKEN_BACK = "return_taken_back", gettext_lazy("took a return back")
        ERASED = "erased", gettext_lazy("erased a clip")
        LESSONS_ERASED = "lessons_erased", gettext_lazy("erased all that was kept about a pupil")
        ACCOUNT_ERASED = "account_erased", gettext_lazy("erased an account")
        TRIED_AGAIN = "tried_again", gettext_lazy("let work on a clip be tried again")
        OWNER_CHANGED = "owner_changed", gettext_lazy("made somebody the owner")
        OPERATOR_CHANGED = (
            "operator_changed",
            gettext_lazy("gave or took the right to look after the service"),
        )

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
        verbose_name_plural = gettext_lazy("audit entries")

    def __str__(self) -> str:
        return f"{self.get_act_display()}, {figures.date_time(timezone.localtime(self.at))}"
