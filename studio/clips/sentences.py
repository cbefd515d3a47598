"""The sentences people read about a clip's states. Those about the recording itself are media's.

Each says what happened, what is kept, and what to do next.
"""

from django.utils.translation import gettext as _

from studio.jobs.rows import Leased
from studio.media import errors as media
from studio.translating import gettext_lazy

from .models import Clip, Stage

OURS = {
    "worker_died": (
        gettext_lazy(
            "The server stopped {times} times while it worked on it. The recording is kept "
            "as it was "
            "sent."
        )
    ),
    "unexpected": gettext_lazy(
        "Something went wrong on our side. The recording is kept as it was sent."
    ),
}
NO_SOUND = gettext_lazy("No sound in it")
LOOKED_AT = gettext_lazy(
    "It is not tried again by itself: whoever looks after the server has been asked to look at it. "
    "There is nothing you need to do."
)
IN_WORDS = {
    (Stage.Kind.LISTENING, Stage.State.WAITING): gettext_lazy("Waiting to be listened to"),
    (Stage.Kind.LISTENING, Stage.State.WORKING): gettext_lazy("Listening"),
    (Stage.Kind.LISTENING, Stage.State.HEARD): gettext_lazy("Listened to"),
    (Stage.Kind.REHEARING, Stage.State.WAITING): gettext_lazy("Waiting to be heard anew"),
    (Stage.Kind.REHEARING, Stage.State.WORKING): gettext_lazy("Being heard anew"),
    (Stage.Kind.REHEARING, Stage.State.FAILED): gettext_lazy("Could not be heard anew"),
    (Stage.Kind.REHEARING, Stage.State.PARKED): gettext_lazy("Not heard anew yet; being looked at"),
    (Stage.Kind.EXAMINING, Stage.State.WAITING): gettext_lazy("Waiting to be opened"),
    (Stage.Kind.EXAMINING, Stage.State.WORKING): gettext_lazy("Being opened"),
    (Stage.Kind.EXAMINING, Stage.State.PARKED): gettext_lazy("Kept, and being looked at"),
    (Stage.Kind.LISTENING, Stage.State.FAILED): gettext_lazy("Could not be listened to"),
    (Stage.Kind.LISTENING, Stage.State.PARKED): gettext_lazy(
        "Not listened to yet; being looked at"
    ),
    (Stage.Kind.PLAYBACK, Stage.State.WAITING): gettext_lazy("Video waiting to be prepared"),
    (Stage.Kind.PLAYBACK, Stage.State.WORKING): gettext_lazy("Preparing the video"),
    (Stage.Kind.PLAYBACK, Stage.State.PLAYABLE): gettext_lazy("Ready to play"),
    (Stage.Kind.PLAYBACK, Stage.State.FAILED): gettext_lazy("Could not be prepared for playing"),
    (Stage.Kind.PLAYBACK, Stage.State.PARKED): gettext_lazy(
        "Not prepared for playing yet; being looked at"
    ),
    (Stage.Kind.SMALL, Stage.State.WAITING): gettext_lazy("Smaller picture waiting to be prepared"),
    (Stage.Kind.SMALL, Stage.State.WORKING): gettext_lazy("Preparing the smaller picture"),
    (Stage.Kind.SMALL, Stage.State.PLAYABLE): gettext_lazy("Smaller picture ready"),
    (Stage.Kind.SMALL, Stage.State.FAILED): gettext_lazy(
        "The smaller picture could not be prepared"
    ),
    (Stage.Kind.SMALL, Stage.State.PARKED): gettext_lazy(
        "Smaller picture not prepared yet; being looked at"
    ),
}


def sentence(code: str, params: dict) -> str:
    """The sentence of a stored code; an unknown one still says something true."""
    for family in (
        OURS,
        media.REFUSED_SENTENCES,
        media.FAILED_SENTENCES,
        media.NOTE_SENTENCES,
    ):
        if code in family:
            return _(family[code]).format_map(_Forgiving(params))
    return OURS["unexpected"]


def refusal(clip: Clip) -> str:
    """Why a refused clip was refused, and what to do; empty for a received one."""
    if clip.intake != Clip.Intake.REFUSED:
        return ""
    return sentence(clip.intake_code, clip.intake_params)


def notes(clip: Clip) -> list[str]:
    """What is worth saying of a recording that could be used all the same.

    That it has no sound is said where it could not be listened to.
    """
    return [sentence(code, params) for code, params in clip.notes if code != "no_sound"]


def stage_in_words(stage: Stage) -> str:
    """Where a stage is, in two or three words."""
    if stage.failure_code == "no_sound":
        return NO_SOUND
    words = IN_WORDS[Stage.Kind(stage.kind), Stage.State(stage.state)]
    return (
        words if stage.clip.has_video else words.replace("Video", "Sound").replace("video", "sound")
    )


def stage_failure(stage: Stage) -> str:
    """Why a stage failed, is parked or is being tried again; empty when all is well."""
    return failure(stage)


def failure(row: Leased) -> str:
    """The same of any leased work: what happened, and what comes next."""
    if not row.failure_code:
        return ""
    said = sentence(row.failure_code, row.failure_params)
    if row.state == Leased.PARKED:
        return f"{said} {LOOKED_AT}"
    if row.state == Leased.WAITING and row.failure_code != "disk_full":  # which says so itself
        return _("%(said)s It will be tried again by itself.") % {"said": said}
    return said


class _Forgiving(dict):
    """A row written by an older version may lack a value: say the rest."""

    def __missing__(self, key: str) -> str:
        return "…"
