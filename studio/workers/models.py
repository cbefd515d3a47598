"""Workers, and what was last said of how the service stands."""

from django.db import models


class Worker(models.Model):
    """A worker and when it last gave a sign of life. It gives none while its queue is away."""

    name = models.CharField(max_length=120, unique=True, help_text="Such as listening@machine.")
    queues = models.CharField(max_length=200, help_text="With a comma before and after each.")
    version = models.CharField(max_length=32)
    since = models.DateTimeField(help_text="When it began to take work. The database's time.")
    seen_at = models.DateTimeField(help_text="The database's time.")

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name

    @property
    def queue_names(self) -> list[str]:
        return [name for name in self.queues.split(",") if name]


class Standing(models.Model):
    """How something stood when it was last looked at, so that a change is logged once, by one."""

    what = models.CharField(max_length=60, unique=True)
    state = models.CharField(max_length=20)
    changed_at = models.DateTimeField(help_text="The database's time.")

    def __str__(self) -> str:
        return f"{self.what}: {self.state}"


class Pace(models.Model):
    """How fast one piece of work was: seconds of recording, and seconds that it took."""

    kind = models.CharField(max_length=16)
    recording_s = models.FloatField()
    took_s = models.FloatField()
    ended_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        indexes = [models.Index(fields=["kind", "ended_at"], name="pace_of_a_kind")]

    def __str__(self) -> str:
        return f"{self.kind}: {self.recording_s} s in {self.took_s} s"
