"""Where a clip is, in the words of the person who asks."""

from collections.abc import Iterable
from dataclasses import dataclass, replace

from studio import figures
from studio.clips import sentences
from studio.clips.models import Clip, Stage

MOVING = (Stage.State.WAITING, Stage.State.WORKING)
ENDED = (Stage.State.FAILED, Stage.State.PARKED)  # without what they are for
SHOWN = (Stage.Kind.EXAMINING, Stage.Kind.LISTENING, Stage.Kind.PLAYBACK)


@dataclass(frozen=True, slots=True)
class Step:
    """One line of a clip's progress. ``percent`` is 0 to 100 while it works, else ``None``."""

    kind: str
    words: str
    percent: int | None = None
    failure: str = ""
    done: bool = False
    moving: bool = False
    parked: bool = False


@dataclass(frozen=True, slots=True)
class Whereabouts:
    """A clip with where each of its steps is.

    ``withheld``: consent to recordings does not hold, so that no teacher gets it and no program
    listens to it; the steps are then left out, since none of them will be taken.
    """

    clip: Clip
    steps: tuple[Step, ...]
    refusal: str = ""
    withheld: bool = False
    notes: tuple[str, ...] = ()

    @property
    def moving(self) -> bool:
        return any(step.moving for step in self.steps)

    @property
    def unheard(self) -> bool:
        """Whether it still waits to be listened to, or is being listened to."""
        return any(step.moving for step in self.steps if step.kind == Stage.Kind.LISTENING)

    @property
    def preparing(self) -> bool:
        """Whether the playable copy is still on its way."""
        return any(step.moving for step in self.steps if step.kind == Stage.Kind.PLAYBACK)

    @property
    def settled(self) -> bool:
        """Nothing moves and nothing failed: there is no more to say than that it is there."""
        return not self.refusal and not self.withheld and all(step.done for step in self.steps)


def of(clip: Clip, stages: Iterable[Stage] | None = None) -> Whereabouts:
    """Intake, listening and playback of a clip; ``stages`` where they were not fetched with it."""
    if clip.intake == Clip.Intake.REFUSED:
        return Whereabouts(clip, (), refusal=sentences.refusal(clip))
    found = {stage.kind: stage for stage in (clip.stages.all() if stages is None else stages)}
    shown = [found[kind] for kind in SHOWN if kind in found]
    small = found.get(Stage.Kind.SMALL)
    if small is not None and small.state in ENDED:  # else nobody need know of it
        shown.append(small)
    steps = tuple(_step(stage) for stage in shown)
    return Whereabouts(clip, steps, notes=tuple(sentences.notes(clip)))


def at_home(clip: Clip) -> Whereabouts:
    """The same for the pupil and the guardians, of a clip from :mod:`studio.clips.access`."""
    where = of(clip)
    if clip.consented or where.refusal:
        return where
    return replace(where, steps=(), withheld=True)


def any_moving(places: Iterable[Whereabouts]) -> bool:
    return any(place.moving for place in places)


def _step(stage: Stage) -> Step:
    working = stage.state == Stage.State.WORKING
    return Step(
        kind=stage.kind,
        words=sentences.stage_in_words(stage),
        percent=figures.percent(stage.progress, 1) if working else None,
        failure=sentences.stage_failure(stage),
        done=stage.is_done,
        moving=stage.state in MOVING,
        parked=stage.state == Stage.State.PARKED,
    )
