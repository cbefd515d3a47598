"""Clips: what was uploaded, what was made from it, and where each step stands.

A clip's **intake** is ``received`` or ``refused`` (the pupil can mend it: a code says why).
Its :class:`Stage` rows then go their own way, each with its lease, attempts and failure::

    listening   waiting → working → heard    | failed | parked
    playback    waiting → working → playable | failed | parked
    small       waiting → working → playable | failed | parked   (only where there is a picture)
    examining   waiting → working → (the row goes)  | parked     (only where a first look died)
    rehearing   waiting → working → (the row goes)  | failed | parked   (by a newer engine)

``failed``: the recording was judged, and lacks what the stage needs. ``parked``: we could not do
it, after three attempts, and keep it for whoever looks after the server. A recording that could
not be looked at for a reason of ours is received all the same, with nothing in ``info`` and the
stage *examining*; once it was looked at it is ``received`` like any other, or ``refused``. A clip
that is heard anew stays *heard* meanwhile, whatever becomes of *rehearing*.

The row is the truth; the queue carries an id only. A worker claims a stage by a conditional update
and publishes only while it still holds the lease and the clip's ``generation`` (raised when the
clip is erased) is unchanged.
"""

import uuid
from datetime import datetime, timedelta

from django.apps import apps
from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext as _

from studio import figures
from studio.accounts.models import Enrolment, Person
from studio.accounts.names import OneLineField
from studio.jobs.rows import Leased
from studio.translating import gettext_lazy


class Clip(models.Model):
    """One uploaded recording (a take) and everything derived from it."""

    class Intake(models.TextChoices):
        RECEIVED = "received", gettext_lazy("received")
        REFUSED = "refused", gettext_lazy("refused")

    class Subject(models.TextChoices):
        """What the pupil says the clip is; empty where nothing was said."""

        DOUBLE_STOPS = "double_stops", gettext_lazy("Double stops")
        QUESTION = "question", gettext_lazy("A question")
        HAND = "hand", gettext_lazy("Look at my hand")

    ASKS = (Subject.QUESTION, Subject.HAND)  # subjects that want an answer, whatever is heard

    # Long enough for a refusal to be read; then it is put away by itself.
    REFUSED_SHOWN = timedelta(days=3)

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    enrolment = models.ForeignKey(Enrolment, models.CASCADE, related_name="clips")
    uploaded_by = models.ForeignKey(Person, models.PROTECT, related_name="+")
    title = OneLineField(
        max_length=160, blank=True, help_text=gettext_lazy("As the pupil names it.")
    )
    note = models.TextField(blank=True, help_text="What the pupil wants the teacher to know.")
    subject = models.CharField(max_length=16, choices=Subject, blank=True)
    created_at = models.DateTimeField(default=timezone.now)
    intake = models.CharField(max_length=16, choices=Intake)
    intake_code = models.CharField(max_length=40, blank=True)
    intake_params = models.JSONField(default=dict, blank=True)
    info = models.JSONField(default=dict, blank=True, help_text="What probing found (MediaInfo).")
    notes = models.JSONField(
        default=list, blank=True, help_text="What is worth saying: pairs of code and params."
    )
    duration_s = models.FloatField(null=True, blank=True)
    has_video = models.BooleanField(default=False)
    has_audio = models.BooleanField(default=False)
    frame_rate = models.FloatField(null=True, blank=True)
    upload_key = models.CharField(
        max_length=64, blank=True, help_text="Chosen by the page, so that one send makes one clip."
    )
    generation = models.PositiveIntegerField(default=1)
    erased_at = models.DateTimeField(null=True, blank=True)
    goes_on = models.DateField(
        null=True, blank=True, help_text="When all of it goes by itself, as people were told."
    )
    recording_goes_on = models.DateField(
        null=True, blank=True, help_text="The same of the recording alone."
    )
    recording_gone_at = models.DateTimeField(
        null=True, blank=True, help_text="Since then there is only what was measured and said."
    )

    class Meta:
        ordering = ["-created_at"]
        constraints = [
            models.UniqueConstraint(
                fields=["enrolment", "upload_key"],
                condition=~Q(upload_key=""),
                name="one_clip_an_upload",
            )
        ]

    def __str__(self) -> str:
        return self.title or _("clip of %(created_at)s") % {
            "created_at": figures.long_date(timezone.localtime(self.created_at))
        }

    @property
    def put_away_at(self) -> datetime:
        """When a refused clip goes by itself."""
        return self.created_at + self.REFUSED_SHOWN

    @property
    def asks(self) -> bool:
        """Whether the pupil wants something looked at that is not the double stops."""
        return self.subject in self.ASKS

    def stage(self, kind: str) -> "Stage | None":
        """This clip's stage of a kind; uses prefetched rows when they are there."""
        return next((stage for stage in self.stages.all() if stage.kind == kind), None)

    @property
    def is_unseen(self) -> bool:
        """Whether nothing could look at it yet, for a reason of ours."""
        return self.stage(Stage.Kind.EXAMINING) is not None

    def rendition(self, kind: str) -> "Rendition | None":
        """What was made of this clip, of a kind; uses prefetched rows when they are there."""
        return next((made for made in self.renditions.all() if made.kind == kind), None)


class Upload(models.Model):
    """A recording on its way, in pieces. It goes a day after its last byte; its clip stays.

    ``offset_bytes`` is what has been synced to disk; at ``length_bytes`` it becomes a clip, unless
    the same recording was sent before (``same_as``): then the pupil is asked first.
    """

    LIFETIME = timedelta(hours=24)

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    enrolment = models.ForeignKey(Enrolment, models.CASCADE, related_name="uploads")
    person = models.ForeignKey(Person, models.CASCADE, related_name="+")
    key = models.CharField(max_length=64, help_text="So that one send makes one clip.")
    metadata = models.TextField(blank=True, help_text="The tus header as it came.")
    length_bytes = models.PositiveBigIntegerField()
    offset_bytes = models.PositiveBigIntegerField(default=0)
    changed_at = models.DateTimeField(default=timezone.now)
    attempts = models.PositiveSmallIntegerField(
        default=0, help_text="To make a clip of it, which never came to an end: a process died."
    )
    clip = models.ForeignKey(Clip, models.CASCADE, null=True, blank=True, related_name="+")
    same_as = models.ForeignKey(
        Clip,
        models.SET_NULL,
        null=True,
        blank=True,
        related_name="+",
        help_text="The clip that holds the same recording; the pupil is asked about it.",
    )
    again = models.BooleanField(default=False, help_text="Wanted though it was sent before.")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["enrolment", "key"], name="one_upload_a_key")
        ]

    def __str__(self) -> str:
        return f"{self.offset_bytes} of {self.length_bytes} bytes"

    @property
    def is_whole(self) -> bool:
        return self.offset_bytes == self.length_bytes

    @property
    def asks(self) -> bool:
        """Whether the pupil has yet to say if it is wanted a second time."""
        return self.same_as is not None and self.same_as.erased_at is None and not self.again

    @property
    def expires_at(self) -> datetime:
        return self.changed_at + self.LIFETIME


class ClipFile(models.Model):
    """A row that names a file of a clip. What is one is verified, backed up and erased with it.

    Each kind has its ``clip``; apps above this one may have kinds of their own.
    """

    path = models.CharField(max_length=200)
    sha256 = models.CharField(max_length=64)
    size_bytes = models.PositiveBigIntegerField()

    class Meta:
        abstract = True

    @property
    def can_be_made_again(self) -> bool:
        """Whether a worker can make this file from another one; what came from outside cannot."""
        return False

    def make_again(self) -> None:
        """Begin that work anew."""
        raise NotImplementedError(f"{self} came from outside")


def file_models() -> list[type[ClipFile]]:
    """Every kind of row that names a file."""
    return [model for model in apps.get_models() if issubclass(model, ClipFile)]


class Original(ClipFile):
    """The file as it came. Never changed, never served."""

    clip = models.OneToOneField(Clip, models.CASCADE, related_name="original")
    path = models.CharField(max_length=200, help_text="Below the media folder.")
    filename = OneLineField(
        max_length=255, help_text=gettext_lazy("As the pupil's device named it.")
    )

    def __str__(self) -> str:
        return self.filename


class Rendition(ClipFile):
    """A file made by us from the original; the only kind that is ever served."""

    class Kind(models.TextChoices):
        SOUND = (
            "sound",
            gettext_lazy("sound for listening"),
        )  # of clips heard before it was let go; none is made
        PLAYABLE = "playable", gettext_lazy("playable copy")
        SMALL = "small", gettext_lazy("smaller picture")
        POSTER = "poster", gettext_lazy("poster")
        PEAKS = "peaks", gettext_lazy("waveform peaks")

    clip = models.ForeignKey(Clip, models.CASCADE, related_name="renditions")
    kind = models.CharField(max_length=16, choices=Kind)
    content_type = models.CharField(max_length=60)
    created_at = models.DateTimeField(default=timezone.now)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["clip", "kind"], name="one_rendition_a_kind")
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} of {self.clip_id}"

    @property
    def can_be_made_again(self) -> bool:
        return True

    def make_again(self) -> None:
        if self.kind == self.Kind.SOUND:  # nobody asks for it: it is let go
            self.delete()
            return
        Stage.objects.get(clip=self.clip_id, kind=Stage.MAKES[self.kind]).begin_again()


class Stage(Leased):
    """Where one long piece of work on a clip stands. See the module's docstring."""

    class Kind(models.TextChoices):
        LISTENING = "listening", gettext_lazy("listening")
        PLAYBACK = "playback", gettext_lazy("playback")
        SMALL = "small", gettext_lazy("smaller picture")
        EXAMINING = "examining", gettext_lazy("first look")
        REHEARING = "rehearing", gettext_lazy("hearing anew")

    class State(models.TextChoices):
        WAITING = "waiting", gettext_lazy("waiting")
        WORKING = "working", gettext_lazy("working")
        HEARD = "heard", gettext_lazy("heard")
        PLAYABLE = "playable", gettext_lazy("playable")
        SEEN = "seen", gettext_lazy("looked at")
        FAILED = "failed", gettext_lazy("failed")
        PARKED = "parked", gettext_lazy("parked")

    # What a clip has once everything is done; a first look and a hearing anew leave no row.
    DONE = {
        Kind.LISTENING: State.HEARD,
        Kind.PLAYBACK: State.PLAYABLE,
        Kind.SMALL: State.PLAYABLE,
    }

    MAKES = {
        Rendition.Kind.PEAKS: Kind.LISTENING,
        Rendition.Kind.PLAYABLE: Kind.PLAYBACK,
        Rendition.Kind.POSTER: Kind.PLAYBACK,
        Rendition.Kind.SMALL: Kind.SMALL,
    }

    clip = models.ForeignKey(Clip, models.CASCADE, related_name="stages")
    kind = models.CharField(max_length=16, choices=Kind)
    state = models.CharField(max_length=16, choices=State, default=State.WAITING)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["clip", "kind"], name="one_stage_a_kind")]
        indexes = [models.Index(fields=["state", "lease_until"], name="stage_sweep")]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} of {self.clip_id}: {self.get_state_display()}"

    @property
    def is_done(self) -> bool:
        return self.state == self.done_state

    @property
    def done_state(self) -> str:
        return self.DONE.get(self.kind, self.State.SEEN)


class Listening(models.Model):
    """What one engine heard in one clip. Never changed; a newer engine adds another.

    Once the recording itself is gone, ``input_sha256`` is empty.
    """

    clip = models.ForeignKey(Clip, models.CASCADE, related_name="listenings")
    engine = models.CharField(max_length=32)
    options = models.JSONField()
    input_sha256 = models.CharField(max_length=64)
    measurement = models.JSONField()
    created_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["created_at", "pk"]
        # Which is the newest, and whose, is told without reading past a long measurement.
        indexes = [
            models.Index(fields=["clip", "created_at"], name="listenings_of_a_clip"),
            models.Index(fields=["engine", "clip"], name="listenings_of_an_engine"),
        ]

    def __str__(self) -> str:
        return f"engine {self.engine} on {self.clip_id}"

    @property
    def generation(self) -> int:
        """Figures of one generation of engines mean the same, and can be compared."""
        return version_of(self.engine)[0]


class Viewing(models.Model):
    """One sitting in which somebody else than the pupil watched a clip; for pupil and guardians.

    Written by :mod:`studio.clips.viewings`; it goes with the clip.
    """

    class Role(models.TextChoices):
        TEACHER = "teacher", gettext_lazy("teacher")
        GUARDIAN = "guardian", gettext_lazy("guardian")

    clip = models.ForeignKey(Clip, models.CASCADE, related_name="viewings")
    person = models.ForeignKey(
        Person,
        models.SET_NULL,
        null=True,
        related_name="+",
        help_text="Nobody once that account is erased; the sitting stays the pupil's to know.",
    )
    role = models.CharField(max_length=16, choices=Role, help_text="As it was then.")
    first_at = models.DateTimeField()
    last_at = models.DateTimeField(help_text="Of its requests; to about five minutes.")

    class Meta:
        ordering = ["-first_at", "-pk"]
        indexes = [models.Index(fields=["clip", "person", "last_at"], name="viewings_of_a_clip")]

    def __str__(self) -> str:
        return _("%(clip_id)s watched by a %(get_role_display)s") % {
            "clip_id": self.clip_id,
            "get_role_display": self.get_role_display(),
        }


def version_of(engine: str) -> tuple[int, ...]:
    """An engine's numbers, to be put in order; the first is its generation.

    >>> version_of("1.10.2") > version_of("1.9.0")
    True
    """
    numbers = (figures.whole(part) for part in engine.split("."))
    return tuple(number for number in numbers if number is not None) or (0,)


class UpkeepRun(models.Model):
    """A backup, or a drill of one, that was made or failed: what an operator wants to know."""

    class Kind(models.TextChoices):
        BACKUP = "backup", gettext_lazy("backup")
        DRILL = "drill", gettext_lazy("drill")

    kind = models.CharField(max_length=16, choices=Kind)
    started_at = models.DateTimeField(default=timezone.now)
    ended_at = models.DateTimeField(null=True, blank=True)
    is_whole = models.BooleanField(default=False, help_text="Nothing was wrong.")
    said = models.TextField(blank=True, help_text="For the operator: what was done, what is wrong.")
    figures = models.JSONField(default=dict, blank=True)

    class Meta:
        ordering = ["-started_at", "-pk"]
        indexes = [models.Index(fields=["kind", "-started_at"], name="upkeep_runs")]

    def __str__(self) -> str:
        how = _("whole") if self.is_whole else _("something was wrong")
        return f"{self.get_kind_display()}: {how}"
