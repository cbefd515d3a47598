"""What the tables of clips answer."""

from studio.accounts.personal_data import (
    Exported,
    Goes,
    Kept,
    Stays,
    Unlinked,
    fields,
    impersonal,
    register,
)

from .models import Clip, Listening, Original, Rendition, Stage, UpkeepRun, Upload, Viewing

FILE = ("clip", "sha256", "size_bytes")

register(
    Clip,
    place="enrolment",
    clip="pk",
    named={"uploaded_by": Stays("The clip is the pupil’s, whoever sent it.")},
    export=Exported(
        fields(
            *("id", "title", "note", "subject", "created_at", "uploaded_by", "intake"),
            *("intake_code", "intake_params", "info", "notes", "duration_s", "has_video"),
            *("has_audio", "frame_rate", "erased_at"),
        )
    ),
    erasure=Goes(),
    kept=Kept.LESSONS,
)
register(
    Upload,
    place="enrolment",
    named={
        "person": Stays("The recording is the pupil’s, whoever sends it."),
        "clip": Goes(),
        "same_as": Unlinked("What is on its way is another recording."),
    },
    export=Exported(fields("id", "person", "length_bytes", "offset_bytes", "changed_at", "clip")),
    erasure=Goes(),
    kept=Kept.UPLOAD,
)
register(
    Original,
    clip="clip",
    export=Exported(fields(*FILE, "filename")),
    erasure=Goes(),
    kept=Kept.CLIP,
)
register(
    Rendition,
    clip="clip",
    export=Exported(fields(*FILE, "kind", "content_type", "created_at")),
    erasure=Goes(),
    kept=Kept.CLIP,
)
register(
    Stage,
    clip="clip",
    export=Exported(fields("clip", "kind", "state", "changed_at", "failure_code")),
    erasure=Goes(),
    kept=Kept.CLIP,
)
register(
    Listening,
    clip="clip",
    export=Exported(
        fields("clip", "engine", "options", "input_sha256", "created_at", "measurement")
    ),
    erasure=Goes(),
    kept=Kept.CLIP,
)
register(
    Viewing,
    clip="clip",
    named={"person": Unlinked("That somebody watched, and when, is the pupil’s to know.")},
    export=Exported(fields("clip", "person", "role", "first_at", "last_at")),
    erasure=Goes(),
    kept=Kept.CLIP,
)
impersonal(UpkeepRun, "When a backup or a drill was made, and of how many rows and files.")
