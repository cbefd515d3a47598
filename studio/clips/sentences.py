"""The sentences people read about a clip's states. Those about the recording itself are media's.

Each says what happened, what is kept, and what to do next.
"""

from studio.media import errors as media

from .models import Clip, Stage

OURS = {
    "worker_died": (
        "Listening stopped unexpectedly three times. The recording is kept; "
        "the teacher can watch it and comment, and whoever looks after the server was told."
    ),
    "unexpected": "Something went wrong on our side. The recording is kept as it was sent.",
}
NO_SOUND = "No sound in it"
TRIED_AGAIN = {"timeout", "crashed", "tool_missing", "file_missing", "unexpected"}
IN_WORDS = {
    (Stage.Kind.LISTENING, Stage.State.WAITING): "Waiting to be listened to",
    (Stage.Kind.LISTENING, Stage.State.WORKING): "Listening",
    (Stage.Kind.LISTENING, Stage.State.HEARD): "Listened to",
    (Stage.Kind.LISTENING, Stage.State.FAILED): "Could not be listened to",
    (Stage.Kind.PLAYBACK, Stage.State.WAITING): "Video waiting to be prepared",
    (Stage.Kind.PLAYBACK, Stage.State.WORKING): "Preparing the video",
    (Stage.Kind.PLAYBACK, Stage.State.PLAYABLE): "Ready to play",
    (Stage.Kind.PLAYBACK, Stage.State.FAILED): "Could not be prepared for playing",
    (Stage.Kind.SMALL, Stage.State.WAITING): "Smaller picture waiting to be prepared",
    (Stage.Kind.SMALL, Stage.State.WORKING): "Preparing the smaller picture",
    (Stage.Kind.SMALL, Stage.State.PLAYABLE): "Smaller picture ready",
    (Stage.Kind.SMALL, Stage.State.FAILED): "The smaller picture could not be prepared",
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
            return family[code].format_map(_Forgiving(params))
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
    """Why a stage failed or is being tried again; empty when all is well."""
    if not stage.failure_code:
        return ""
    said = sentence(stage.failure_code, stage.failure_params)
    if stage.failure_code not in TRIED_AGAIN:
        return said
    if stage.state != Stage.State.FAILED:
        return f"{said} It will be tried again by itself."
    return (
        f"{said} It failed {stage.attempt} times and is not tried again; "
        "whoever looks after the server can see why."
    )


class _Forgiving(dict):
    """A row written by an older version may lack a value: say the rest."""

    def __missing__(self, key: str) -> str:
        return "…"
