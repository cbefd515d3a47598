"""The pictures of a clip that a page may play: the full one, and a smaller one for slow lines."""

from dataclasses import dataclass

from django.urls import reverse

from studio import figures
from studio.clips.models import Clip, Rendition, Stage
from studio.translating import gettext_lazy

FULL, SMALL = "full", "small"
NAMES = {SMALL: gettext_lazy("Smaller picture"), FULL: gettext_lazy("Full picture")}


@dataclass(frozen=True, slots=True)
class Picture:
    """One of them. ``size_bytes`` is 0 where it is not known."""

    kind: str
    address: str
    size_bytes: int = 0

    @property
    def words(self) -> str:
        size = f", {figures.megabytes(self.size_bytes)}" if self.size_bytes else ""
        return NAMES[self.kind] + size


@dataclass(frozen=True, slots=True)
class Pictures:
    """What there is to play of a clip; either may still be missing."""

    small: Picture | None
    full: Picture | None
    duration_s: float
    asked: str = ""

    @property
    def first(self) -> Picture | None:
        """What plays without script: what was asked for, else what plays on every line."""
        asked = self.full if self.asked == FULL else self.small
        return asked or self.small or self.full

    @property
    def to_choose(self) -> list[Picture]:
        """Both of them, or nothing where there is no choice."""
        return [self.small, self.full] if self.small and self.full else []

    @property
    def full_bits_s(self) -> int:
        """What a line must carry for the full picture, on average; 0 where it is not known."""
        known = self.full is not None and self.duration_s > 0
        return round(8 * self.full.size_bytes / self.duration_s) if known else 0


def of(clip: Clip, asked: str = "") -> Pictures:
    """The pictures of a clip whose stages and renditions were fetched with it."""
    stage = clip.stage(Stage.Kind.PLAYBACK)
    small, full = clip.rendition(Rendition.Kind.SMALL), clip.rendition(Rendition.Kind.PLAYABLE)
    is_full = stage is not None and stage.is_done
    return Pictures(
        small=Picture(SMALL, reverse("clip_small", args=(clip.pk,)), small.size_bytes)
        if small
        else None,
        full=Picture(FULL, reverse("clip_media", args=(clip.pk,)), full.size_bytes if full else 0)
        if is_full
        else None,
        duration_s=clip.duration_s or 0.0,
        asked=asked,
    )


def has_poster(clip: Clip) -> bool:
    return any(made.kind == Rendition.Kind.POSTER for made in clip.renditions.all())


def is_playable(clip: Clip) -> bool:
    """Whether there is the full copy."""
    stage = clip.stage(Stage.Kind.PLAYBACK)
    return stage is not None and stage.is_done


def can_be_watched(clip: Clip) -> bool:
    """Whether there is a copy at all: the smaller picture is made first."""
    return is_playable(clip) or clip.rendition(Rendition.Kind.SMALL) is not None
