"""The teacher's answer to a clip: decisions on marks, comments, drills set, the return.

Review: waiting → open → returned. Everything here is hidden from the pupil until the return,
which freezes a snapshot (:class:`Return`); nothing later changes what was returned.

A mark is a proposal of the judgement and has no row. What the teacher decides about it has:
:class:`Decision` remembers what it was about (code, span, pitches), so that it finds the same
moment again in a newer listening.
"""

import uuid

from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext as _

from studio import figures
from studio.accounts.models import Enrolment, Person, Studio
from studio.accounts.names import OneLineField
from studio.clips.models import Clip, ClipFile, Listening
from studio.drills.models import Assignment
from studio.jobs.rows import Leased
from studio.translating import gettext_lazy

from .audit_rows import AuditMoment as AuditMoment
from .audit_rows import AuditRound as AuditRound


class Review(models.Model):
    class State(models.TextChoices):
        WAITING = "waiting", gettext_lazy("waiting")
        OPEN = "open", gettext_lazy("open")
        RETURNED = "returned", gettext_lazy("returned")

    UNANSWERED = (State.WAITING, State.OPEN)

    # The listening that a page at work was made from, by its number; None: the newest. No field.
    shown_listening: int | None = None

    clip = models.OneToOneField(Clip, models.CASCADE, related_name="review")
    answers = models.ForeignKey(
        Assignment, models.SET_NULL, null=True, blank=True, related_name="answered_by"
    )
    state = models.CharField(max_length=16, choices=State, default=State.WAITING)
    opened_at = models.DateTimeField(null=True, blank=True)
    summary = models.TextField(blank=True)
    double_stops_heard = models.PositiveIntegerField(null=True, blank=True)
    marks_found = models.PositiveIntegerField(null=True, blank=True)
    marks_of_kinds = models.JSONField(
        default=dict, blank=True, help_text="How many of them there are of each group of intervals."
    )
    marks_quiet = models.PositiveIntegerField(
        default=0, help_text="How many of them are proposed quietly."
    )
    tolerance_cents = models.JSONField(
        null=True,
        blank=True,
        help_text="Cents for perfect and other intervals, for this clip; empty: as usual.",
    )
    taken_by = models.ForeignKey(
        Person, models.SET_NULL, null=True, blank=True, related_name="reviews_taken"
    )
    taken_at = models.DateTimeField(null=True, blank=True)
    snoozed_until = models.DateTimeField(null=True, blank=True)
    version = models.PositiveIntegerField(default=0, help_text="Raised by each change at the desk.")
    drills_set = models.ManyToManyField(Assignment, blank=True, related_name="set_in")
    intervals = models.CharField(
        max_length=120, blank=True, help_text="Words for what was heard, as it was returned."
    )

    class Meta:
        indexes = [models.Index(fields=["state"], name="reviews_unanswered")]

    def __str__(self) -> str:
        return _("review of %(clip)s") % {"clip": self.clip}

    @property
    def marks_to_count(self) -> int | None:
        """What lists say was found: quiet proposals are left out."""
        return None if self.marks_found is None else max(self.marks_found - self.marks_quiet, 0)


class Decision(models.Model):
    """Keep or drop one mark, perhaps with other words or another span."""

    class Choice(models.TextChoices):
        KEPT = "kept", gettext_lazy("kept")
        DROPPED = "dropped", gettext_lazy("dropped")

    review = models.ForeignKey(Review, models.CASCADE, related_name="decisions")
    listening = models.ForeignKey(Listening, models.PROTECT, related_name="+")
    choice = models.CharField(max_length=16, choices=Choice)
    code = models.CharField(max_length=40)
    start_s = models.FloatField()
    end_s = models.FloatField()
    midis = models.JSONField(default=list, help_text="MIDI numbers of the mark's voices.")
    sentence = models.TextField(blank=True, help_text="What the program said at the time.")
    words = models.TextField(blank=True, help_text="The teacher's own words, if edited.")
    own_start_s = models.FloatField(null=True, blank=True, help_text="The span, if edited.")
    own_end_s = models.FloatField(null=True, blank=True)
    decided_by = models.ForeignKey(Person, models.PROTECT, related_name="+")
    decided_at = models.DateTimeField(default=timezone.now)

    def __str__(self) -> str:
        return f"{self.get_choice_display()}: {self.code} at {figures.place(self.start_s, 1)}"

    @property
    def own_span(self) -> tuple[float, float] | None:
        """The teacher's span in seconds, where the mark's was edited."""
        if self.own_start_s is None or self.own_end_s is None:
            return None
        return self.own_start_s, self.own_end_s

    @property
    def shown(self) -> tuple[float, float]:
        """The span as it is shown."""
        return self.own_span or (self.start_s, self.end_s)


class StoredJudgement(models.Model):
    """What a listening was judged to be once it was heard; see :mod:`.marks.stored_judgements`."""

    listening = models.OneToOneField(Listening, models.CASCADE, related_name="stored_judgement")
    made_from = models.CharField(max_length=64, help_text="A digest of all that it follows from.")
    judgement = models.JSONField()

    def __str__(self) -> str:
        return _("judgement of %(listening_id)s") % {"listening_id": self.listening_id}


class DeskAct(models.Model):
    """One press at the desk that was carried out; see :mod:`studio.review.idempotency`."""

    review = models.ForeignKey(Review, models.CASCADE, related_name="acts")
    person = models.ForeignKey(Person, models.CASCADE, related_name="+")
    key = models.CharField(
        max_length=64, help_text="Chosen by the page, so that one press is carried out once."
    )
    decisions = models.JSONField(
        default=list, help_text="What it decided: each as it was, and the number it has now."
    )
    undone = models.BooleanField(default=False)
    at = models.DateTimeField(default=timezone.now)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["review", "key"], name="one_desk_act_a_key")]

    def __str__(self) -> str:
        return _("press of %(person)s on %(review)s") % {
            "person": self.person,
            "review": self.review,
        }


class HandMark(models.Model):
    """A mark that a teacher added by hand, where the judgement proposed none."""

    review = models.ForeignKey(Review, models.CASCADE, related_name="hand_marks")
    start_s = models.FloatField()
    end_s = models.FloatField()
    words = models.TextField()
    version = models.PositiveIntegerField(default=1, help_text="Raised by each edit.")
    form_key = models.CharField(
        max_length=64, blank=True, help_text="Chosen by the page, so that one press makes one."
    )
    added_by = models.ForeignKey(Person, models.PROTECT, related_name="+")
    added_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["start_s", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["review", "form_key"],
                condition=~Q(form_key=""),
                name="one_hand_mark_a_press",
            )
        ]

    def __str__(self) -> str:
        return _("mark by hand at %(start_s)s") % {"start_s": figures.place(self.start_s, 1)}


class BarPin(models.Model):
    """A place of the clip that a teacher says the bar of; see :mod:`.marks.bar_pins`."""

    review = models.ForeignKey(Review, models.CASCADE, related_name="bar_pins")
    start_s = models.FloatField()
    end_s = models.FloatField()
    bar = models.IntegerField(help_text="As the drill's page numbers it.")
    placed_by = models.ForeignKey(Person, models.PROTECT, related_name="+")
    placed_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["review", "start_s", "end_s", "bar"], name="one_bar_pin_a_place"
            )
        ]

    def __str__(self) -> str:
        return f"bar {self.bar} at {figures.place(self.start_s, 1)}"


class Comment(models.Model):
    """What is said at a moment, or over a span when ``end_s`` is given."""

    class Kind(models.TextChoices):
        INTONATION = "intonation", gettext_lazy("intonation")
        LEFT_HAND = "left_hand", gettext_lazy("left hand")
        BOW = "bow", gettext_lazy("bow")
        SOUND = "sound", gettext_lazy("sound")
        MUSIC = "music", gettext_lazy("music")
        WELL_DONE = "well_done", gettext_lazy("well done")

    review = models.ForeignKey(Review, models.CASCADE, related_name="comments")
    author = models.ForeignKey(Person, models.PROTECT, related_name="+")
    kind = models.CharField(max_length=16, choices=Kind, default=Kind.INTONATION)
    start_s = models.FloatField()
    end_s = models.FloatField(null=True, blank=True)
    text = models.TextField()
    score_ref = models.CharField(
        max_length=64, blank=True, help_text="What is written in the drill, if it is about that."
    )
    version = models.PositiveIntegerField(default=1, help_text="Raised by each edit.")
    form_key = models.CharField(
        max_length=64, blank=True, help_text="Chosen by the page, so that one press makes one."
    )
    created_at = models.DateTimeField(default=timezone.now)
    edited_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["start_s", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["review", "form_key"], condition=~Q(form_key=""), name="one_comment_a_press"
            )
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} at {figures.place(self.start_s, 1)}"

    @property
    def has_recording(self) -> bool:
        """Whether a voice or video reply goes with it; uses prefetched rows when they are there."""
        return any(each.kind in Enclosure.RECORDINGS for each in self.enclosures.all())

    @property
    def has_drawing(self) -> bool:
        return any(each.kind == Enclosure.Kind.DRAWING for each in self.enclosures.all())


class Enclosure(Leased):
    """What goes with a comment: a recording that the teacher made, or a drawing on a still.

        waiting → working → ready | failed | parked

    A recording's ``info`` is what probing found; empty where nothing could look at it yet, for a
    reason of ours: then a worker does. A drawing has ``strokes`` (see
    :mod:`studio.review.enclosures.drawings`) on the clip's picture at ``frame_s``, and says in
    ``words`` what it shows; the picture itself is taken from the clip's playable copy.
    """

    class Kind(models.TextChoices):
        VOICE = "voice", gettext_lazy("voice reply")
        VIDEO = "video", gettext_lazy("video reply")
        DRAWING = "drawing", gettext_lazy("drawing")

    class State(models.TextChoices):
        WAITING = "waiting", gettext_lazy("waiting")
        WORKING = "working", gettext_lazy("working")
        READY = "ready", gettext_lazy("ready")
        FAILED = "failed", gettext_lazy("failed")
        PARKED = "parked", gettext_lazy("parked")

    RECORDINGS = (Kind.VOICE, Kind.VIDEO)
    done_state = State.READY

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    comment = models.ForeignKey(Comment, models.CASCADE, related_name="enclosures")
    kind = models.CharField(max_length=16, choices=Kind)
    state = models.CharField(max_length=16, choices=State, default=State.WAITING)
    info = models.JSONField(default=dict, blank=True)
    duration_s = models.FloatField(null=True, blank=True)
    frame_s = models.FloatField(null=True, blank=True, help_text="On the clip's time axis.")
    strokes = models.JSONField(default=list, blank=True)
    words = models.CharField(max_length=300, blank=True, help_text="What a drawing shows.")
    version = models.PositiveIntegerField(default=1, help_text="Raised by each edit.")
    created_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["created_at", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["comment"],
                condition=Q(kind__in=["voice", "video"]),
                name="one_recording_a_comment",
            ),
            models.UniqueConstraint(
                fields=["comment"], condition=Q(kind="drawing"), name="one_drawing_a_comment"
            ),
        ]
        indexes = [models.Index(fields=["state", "lease_until"], name="enclosure_sweep")]

    def __str__(self) -> str:
        return _("%(get_kind_display)s with comment %(comment_id)s") % {
            "get_kind_display": self.get_kind_display(),
            "comment_id": self.comment_id,
        }

    @property
    def clip(self) -> Clip:
        return self.comment.review.clip

    @property
    def clip_id(self) -> uuid.UUID:
        return self.comment.review.clip_id

    def file(self, kind: str) -> "EnclosedFile | None":
        """This enclosure's file of a kind; uses prefetched rows when they are there."""
        return next((file for file in self.files.all() if file.kind == kind), None)


class EnclosedFile(ClipFile):
    """A file of an enclosure. What came is never served, only what was made from it."""

    class Kind(models.TextChoices):
        ORIGINAL = "original", gettext_lazy("as it came")
        SHOWN = "shown", gettext_lazy("as it is played or shown")

    clip = models.ForeignKey(Clip, models.CASCADE, related_name="+")
    enclosure = models.ForeignKey(Enclosure, models.CASCADE, related_name="files")
    kind = models.CharField(max_length=16, choices=Kind)
    content_type = models.CharField(max_length=60, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["enclosure", "kind"], name="one_enclosed_file_a_kind")
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()}: {self.path}"

    @property
    def can_be_made_again(self) -> bool:
        return self.kind == self.Kind.SHOWN

    def make_again(self) -> None:
        self.enclosure.begin_again()


class ReturnQuerySet(models.QuerySet):
    def visible(self, now=None) -> "ReturnQuerySet":
        """What pupils and guardians may see: its delay has ended (by ``now``, if given)."""
        return self.filter(visible_at__lte=now or timezone.now())

    def pending(self, now=None) -> "ReturnQuerySet":
        """What can still be taken back (at ``now``, if given)."""
        return self.filter(visible_at__gt=now or timezone.now())


class Return(models.Model):
    """What the pupil sees, frozen at the moment of returning, from ``visible_at`` on.

    Until then it can be taken back: the row goes, and the review is open as it was before.
    """

    review = models.OneToOneField(Review, models.CASCADE, related_name="returned")
    returned_by = models.ForeignKey(Person, models.PROTECT, related_name="+")
    returned_at = models.DateTimeField(default=timezone.now)
    visible_at = models.DateTimeField(
        default=timezone.now,
        help_text="Until then the return can be taken back, and nobody sees it.",
    )
    site = models.CharField(
        max_length=200, blank=True, help_text="The studio's address, for the letter's link."
    )
    told_at = models.DateTimeField(
        null=True, blank=True, help_text="When the letters were written."
    )
    snapshot = models.JSONField()
    read_at = models.DateTimeField(
        null=True, blank=True, help_text="When the pupil first opened it."
    )

    objects = ReturnQuerySet.as_manager()

    class Meta:
        indexes = [
            models.Index(fields=["visible_at"], name="returns_pending"),
            # Lists ask when, and whether it was read, without reading past a long snapshot.
            models.Index(
                fields=["review", "visible_at", "read_at", "returned_at"], name="returns_in_short"
            ),
        ]

    def __str__(self) -> str:
        return _("return of %(clip)s") % {"clip": self.review.clip}

    @property
    def enclosed_ids(self) -> set[str]:
        """The ids of all that is enclosed with its comments."""
        moments = self.snapshot["moments"]
        return {each["id"] for moment in moments for each in moment.get("enclosures", ())}

    @property
    def is_visible(self) -> bool:
        return self.visible_at <= timezone.now()


class ReturnedMoment(models.Model):
    """A moment of a return's snapshot in columns, so that it can be found again.

    It follows from the snapshot alone (:mod:`.returning.moments`), is written with the return and
    goes with it. ``kind`` is a comment's, or ``mark``; ``interval`` a word such as octaves.
    """

    MARK = "mark"

    returned = models.ForeignKey(Return, models.CASCADE, related_name="moments")
    enrolment = models.ForeignKey(Enrolment, models.CASCADE, related_name="+")
    number = models.PositiveIntegerField(help_text="Its place in the snapshot, from 0.")
    at = models.DateTimeField(help_text="When it was returned.")
    kind = models.CharField(max_length=16)
    start_s = models.FloatField()
    interval = models.CharField(max_length=12, blank=True)
    low = models.PositiveSmallIntegerField(null=True, blank=True, help_text="MIDI numbers.")
    high = models.PositiveSmallIntegerField(null=True, blank=True)
    drill = models.PositiveBigIntegerField(
        default=0, help_text="The number of the drill that the clip answers; 0: none."
    )
    text = models.TextField()
    guardian_text = models.TextField(blank=True, help_text="Where a guardian reads it otherwise.")
    child_text = models.TextField(blank=True, help_text="In a child’s words, where there are any.")

    class Meta:
        ordering = ["returned", "number"]
        indexes = [models.Index(fields=["enrolment", "kind", "at"], name="moments_of_a_place")]
        constraints = [
            models.UniqueConstraint(fields=["returned", "number"], name="one_moment_a_number")
        ]

    def __str__(self) -> str:
        return f"{self.kind} at {figures.place(self.start_s, 1)}"


class Question(models.Model):
    """What is asked or told from home, with every answer (:class:`QuestionEntry`).

    It is about a moment of a returned clip, about a drill that was set, or about neither.
    Whoever sees the pupil's place reads all of it: the pupil, her guardians, the studio's teachers.
    """

    class Kind(models.TextChoices):
        ASKED = "asked", gettext_lazy("question")
        WORKED = "worked", gettext_lazy("worked on")  # tells, and waits for no answer

    enrolment = models.ForeignKey(Enrolment, models.CASCADE, related_name="questions")
    kind = models.CharField(max_length=16, choices=Kind, default=Kind.ASKED)
    clip = models.ForeignKey(Clip, models.CASCADE, null=True, blank=True, related_name="questions")
    at_s = models.FloatField(null=True, blank=True, help_text="A moment of the clip.")
    quoted = models.TextField(blank=True, help_text="The teacher's words there, as they were.")
    assignment = models.ForeignKey(
        Assignment, models.SET_NULL, null=True, blank=True, related_name="questions"
    )
    created_at = models.DateTimeField(default=timezone.now)
    waits_since = models.DateTimeField(
        null=True, blank=True, help_text="Since when the teacher's answer is waited for."
    )
    answer_unread = models.BooleanField(
        default=False, help_text="Nobody at home has opened the newest answer."
    )

    class Meta:
        ordering = ["-created_at", "-pk"]
        indexes = [
            models.Index(
                fields=["waits_since"],
                condition=Q(waits_since__isnull=False),
                name="questions_waiting",
            )
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} of {self.enrolment}"


class QuestionEntry(models.Model):
    """One thing said in a question: by the pupil, a guardian or a teacher."""

    LONGEST = 2000  # letters

    question = models.ForeignKey(Question, models.CASCADE, related_name="entries")
    author = models.ForeignKey(Person, models.PROTECT, related_name="+")
    by_teacher = models.BooleanField()
    text = models.TextField(blank=True)
    form_key = models.CharField(
        max_length=64, blank=True, help_text="Chosen by the page, so that one press says it once."
    )
    said_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["said_at", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["author", "form_key"],
                condition=~Q(form_key=""),
                name="one_entry_a_press",
            )
        ]

    def __str__(self) -> str:
        return f"{self.author} on {self.question}"


class Phrase(models.Model):
    """Words that a teacher says often, with places for values: ``{interval}``, ``{mm}``."""

    author = models.ForeignKey(Person, models.CASCADE, related_name="phrases")
    studio = models.ForeignKey(Studio, models.CASCADE, related_name="phrases")
    kind = models.CharField(max_length=16, choices=Comment.Kind, default=Comment.Kind.INTONATION)
    text = models.CharField(max_length=400)
    position = models.PositiveIntegerField(default=0)

    class Meta:
        ordering = ["position", "pk"]

    def __str__(self) -> str:
        return self.text


class SummaryTemplate(models.Model):
    """A summary that a teacher begins with, by its name, with places: ``{better}``, ``{next}``."""

    author = models.ForeignKey(Person, models.CASCADE, related_name="summary_templates")
    studio = models.ForeignKey(Studio, models.CASCADE, related_name="summary_templates")
    name = OneLineField(max_length=60)
    text = models.TextField(max_length=2000)

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["author", "studio", "name"], name="one_summary_template_a_name"
            )
        ]

    def __str__(self) -> str:
        return self.name


class DeskKeys(models.Model):
    """How a teacher works at the desk: the keys that were changed, by the action's name; whether
    keeping or dropping a mark goes on to the next one."""

    person = models.OneToOneField(Person, models.CASCADE, related_name="desk_keys")
    keys = models.JSONField(default=dict)
    goes_on = models.BooleanField(default=True)

    def __str__(self) -> str:
        return _("desk keys of %(person)s") % {"person": self.person}
