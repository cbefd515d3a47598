"""A pupil with five years of returned clips: 2,000 of them, in which 200,000 events were heard.

Drawn as the pupils of ``deploy/measure progress`` are, two of them laid into each clip, so that one
plays about twenty-six double stops, each about four times.
"""

from dataclasses import replace
from datetime import timedelta

import numpy as np
from django.utils import timezone

from studio.progress.playings import PlayedClip
from tests.benchmarks.progressing.pupils import Pupil, year_of
from tests.progress.kept_years import keep

from .people import Registry, make_house

NAME = "The studio of five years"
CLIPS, EVENTS, WEEKS = 2_000, 200_000, 260
DRAWN_WEEKS = 360  # of which more than enough clips come; they are laid closer together
PUPIL = Pupil(name="five years", begins_at=40.0, per_week=-0.05, weeks=DRAWN_WEEKS, alike=0.6)


def fill_five_years(registry: Registry, seed: int) -> None:
    """A studio of its own for her, so that nobody else's lists are longer by it."""
    place = make_house(NAME, 1, 1, registry).places[0]
    played = five_years(seed)
    last = max(clip.day for clip in played)
    keep(place, played, timezone.localdate() - timedelta(days=1) - last)


def five_years(seed: int) -> list[PlayedClip]:
    """Her clips, week by week."""
    first, second = (year_of(PUPIL, each)[-CLIPS:] for each in (seed, seed + 1))
    assert len(first) == len(second) == CLIPS, f"{len(first)} and {len(second)} clips were drawn"
    begin, shorter = first[0].day, WEEKS / DRAWN_WEEKS
    return [
        replace(
            clip,
            day=begin + timedelta(days=int(shorter * (clip.day - begin).days)),
            rows=_heard(np.concatenate([clip.rows, other.rows])),
        )
        for clip, other in zip(first, second, strict=True)
    ]


def _heard(rows: np.ndarray) -> np.ndarray:
    """So often that each clip has its share of the events."""
    rows["runs"] = round(EVENTS / CLIPS / max(1, len(rows)))
    return rows
