"""What is kept of each returned clip so that a page can compare years: one short row a clip."""

from datetime import date

import numpy as np
from django.db import models
from django.utils.translation import gettext as _

from studio.clips.models import Clip, Listening

from .playings import ROW, PlayedClip
from .report_rows import ReportPrint, TermReport

__all__ = ["ClipFigures", "ReportPrint", "TermReport", "packed", "unpacked"]


class ClipFigures(models.Model):
    """The rows of :mod:`.playings` of one returned clip, and what they were made from.

    It follows from the listening and the decisions, and is written anew with them
    (:mod:`.keeping`). Packed, so that five years are read in a moment: 2,000 rows, not 50,000.
    """

    clip = models.OneToOneField(Clip, models.CASCADE, related_name="figures")
    listening = models.ForeignKey(Listening, models.CASCADE, related_name="+")
    layout = models.PositiveSmallIntegerField(help_text="Of the packed rows.")
    generation = models.PositiveSmallIntegerField(help_text="Of the engine that heard it.")
    day = models.DateField(help_text="On which the clip was sent.")
    drill = models.PositiveBigIntegerField(
        default=0, help_text="The number of the drill that it answers, to know like from unlike."
    )
    tuning = models.CharField(max_length=16)
    key = models.CharField(max_length=24, blank=True)
    a4_hz = models.FloatField(null=True, blank=True)
    snr_db = models.FloatField(null=True, blank=True)
    rows = models.BinaryField()

    class Meta:
        indexes = [models.Index(fields=["layout", "clip"], name="clip_figures_of_a_layout")]

    def __str__(self) -> str:
        return _("figures of %(clip_id)s") % {"clip_id": self.clip_id}


def unpacked(values: dict) -> PlayedClip:
    """A clip from the columns that are read of its row."""
    return PlayedClip(
        clip=values["clip_id"],
        day=values["day"],
        rows=np.frombuffer(values["rows"], ROW),
        drill=values["drill"],
        tuning=values["tuning"],
        key=values["key"],
        a4_hz=values["a4_hz"],
        snr_db=values["snr_db"],
    )


def packed(clip: PlayedClip) -> dict[str, str | int | float | bytes | date | None]:
    """The columns that hold a clip."""
    return {
        "day": clip.day,
        "drill": clip.drill,
        "tuning": clip.tuning,
        "key": clip.key,
        "a4_hz": clip.a4_hz,
        "snr_db": clip.snr_db,
        "rows": clip.rows.tobytes(),
    }
