"""Pictures that wait, made in the middle of other long work of the same worker.

One worker makes pictures, and what else there is for it may take long. Somebody who has just sent
a clip is not to wait for all of that: between two of its pieces such work calls
:func:`make_waiting`, and goes on afterwards. The rows say what waits; the messages that come later
find nothing left to do.
"""

from studio.clips.models import Stage
from studio.jobs import leases, runner

from . import renditions, stages

MAKERS = {  # the smaller one first: it is what plays on every line
    Stage.Kind.SMALL: renditions.prepare_small,
    Stage.Kind.PLAYBACK: renditions.prepare_playback,
}


def wait() -> bool:
    """Whether a picture waits for a worker."""
    return any(_waiting(kind).exists() for kind in MAKERS)


def make_waiting() -> None:
    """Make each picture that waits now, once, however that ends.

    Raises
    ------
    Stopped
        When the process was told to end meanwhile.
    """
    for kind, maker in MAKERS.items():
        for clip in _clips(kind):
            runner.take_between(
                f"{kind} of {clip}",
                lambda clip=clip, kind=kind: stages.claim(clip, kind),
                maker,
                lambda clip=clip, kind=kind: stages.dispatch(clip, kind),
            )


def _clips(kind: str) -> list:
    found = _waiting(kind).order_by("pk").values_list("clip_id", flat=True)
    return leases.patiently(lambda: list(found))


def _waiting(kind: str):
    rows = Stage.objects.filter(stages.may_be_worked_on(), kind=kind)
    return rows.filter(leases.free())
