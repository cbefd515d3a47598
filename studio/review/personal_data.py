"""What the tables of reviews answer.

What a teacher writes at the desk is a working note until the clip is returned and the time has
passed in which the return can be taken back. Until then it goes into nobody's copy: it is not the
pupil's to read yet, and not yet what the teacher says. From then on all of it does, marks that the
teacher dropped included.
"""

from django.db.models import Q
from django.utils import timezone

from studio.accounts.personal_data import (
    Exported,
    Goes,
    Kept,
    Row,
    Stays,
    Unlinked,
    Withheld,
    fields,
    register,
)
from studio.translating import gettext_lazy

from .models import (
    AuditMoment,
    AuditRound,
    BarPin,
    Comment,
    Decision,
    DeskAct,
    DeskKeys,
    EnclosedFile,
    Enclosure,
    HandMark,
    Phrase,
    Question,
    QuestionEntry,
    Return,
    ReturnedMoment,
    Review,
    StoredJudgement,
    SummaryTemplate,
)

NOTES = gettext_lazy("What the teacher is still writing about clips that have not been returned.")
WROTE = Stays(
    "What a teacher said of the pupil’s clip is the pupil’s; it names an emptied account."
)


def returned(row: Row, review: str) -> Exported:
    """Exported once the pupil can see what ``review``, a lookup, was returned with."""
    lookup = f"{review}__returned" if review else "returned"
    return Exported(row, lambda: Q(**{f"{lookup}__visible_at__lte": timezone.now()}), NOTES)


register(
    Review,
    clip="clip",
    named={
        "answers": Unlinked("The review goes on without the drill that the clip answers."),
        "taken_by": Unlinked("Nobody has taken the clip then."),
    },
    export=returned(
        fields(
            *("id", "clip", "answers", "state", "summary", "double_stops_heard"),
            *("marks_found", "marks_of_kinds", "marks_quiet", "tolerance_cents"),
        ),
        "",
    ),
    erasure=Goes(),
    kept=Kept.CLIP,
)
register(
    Review.drills_set.through,
    clip="review__clip",
    named={"assignment": Goes()},
    export=Withheld(gettext_lazy("It joins a return to its drills, which are in the copy.")),
    erasure=Goes(),
    kept=Kept.CLIP,
)
register(
    StoredJudgement,
    clip="listening__clip",
    named={"listening": Goes()},
    export=Withheld(
        gettext_lazy("It follows from the measurement and the tuning, which are in the copy.")
    ),
    erasure=Goes(),
    kept=Kept.CLIP,
)
register(
    Decision,
    clip="review__clip",
    named={"listening": Goes(), "decided_by": WROTE},
    export=returned(
        fields(
            *("review__clip", "listening", "choice", "code", "start_s", "end_s", "midis"),
            *("sentence", "words", "own_start_s", "own_end_s", "decided_by", "decided_at"),
        ),
        "review",
    ),
    erasure=Goes(),
    kept=Kept.CLIP,
)
register(
    DeskAct,
    clip="review__clip",
    named={"person": WROTE},
    export=Withheld(
        gettext_lazy("It only keeps a press from being done twice; what it did is in the copy.")
    ),
    erasure=Goes(),
    kept=Kept.CLIP,
)
register(
    HandMark,
    clip="review__clip",
    named={"added_by": WROTE},
    export=returned(
        fields("review__clip", "start_s", "end_s", "words", "added_by", "added_at"), "review"
    ),
    erasure=Goes(),
    kept=Kept.CLIP,
)
register(
    BarPin,
    clip="review__clip",
    named={"placed_by": WROTE},
    export=returned(
        fields("review__clip", "start_s", "end_s", "bar", "placed_by", "placed_at"), "review"
    ),
    erasure=Goes(),
    kept=Kept.CLIP,
)
register(
    Comment,
    clip="review__clip",
    named={"author": WROTE},
    export=returned(
        fields(
            *("id", "review__clip", "author", "kind", "start_s", "end_s", "text", "score_ref"),
            *("created_at", "edited_at"),
        ),
        "review",
    ),
    erasure=Goes(),
    kept=Kept.CLIP,
)
register(
    Enclosure,
    clip="comment__review__clip",
    export=returned(
        fields(
            *("id", "comment", "kind", "info", "duration_s", "frame_s", "strokes", "words"),
            "created_at",
        ),
        "comment__review",
    ),
    erasure=Goes(),
    kept=Kept.CLIP,
)
register(
    EnclosedFile,
    clip="clip",
    named={"enclosure": Goes()},
    export=returned(
        fields("clip", "enclosure", "kind", "content_type", "sha256", "size_bytes"),
        "enclosure__comment__review",
    ),
    erasure=Goes(),
    kept=Kept.CLIP,
)
register(
    Return,
    clip="review__clip",
    named={"returned_by": WROTE},
    export=Exported(
        fields("review__clip", "returned_by", "returned_at", "visible_at", "read_at", "snapshot"),
        lambda: Q(visible_at__lte=timezone.now()),
        NOTES,
    ),
    erasure=Goes(),
    kept=Kept.CLIP,
)
register(
    ReturnedMoment,
    clip="returned__review__clip",
    named={"returned": Goes(), "enrolment": Goes()},
    export=Withheld(
        gettext_lazy("It repeats what a return says, which is in the copy, so as to find it.")
    ),
    erasure=Goes(),
    kept=Kept.CLIP,
)
register(
    Phrase,
    subjects=("author",),
    studio="studio",
    export=Exported(fields("kind", "text", "position")),
    erasure=Goes(),
    kept=Kept.ACCOUNT,
)
register(
    SummaryTemplate,
    subjects=("author",),
    studio="studio",
    export=Exported(fields("name", "text")),
    erasure=Goes(),
    kept=Kept.ACCOUNT,
)
register(
    DeskKeys,
    subjects=("person",),
    export=Exported(fields("keys", "goes_on")),
    erasure=Goes(),
    kept=Kept.ACCOUNT,
)
register(
    AuditRound,
    subjects=("teacher",),
    studio="studio",
    export=Exported(fields("id", "started_at", "finished_at")),
    erasure=Goes(),
    kept=Kept.ACCOUNT,
)
register(
    AuditMoment,
    clip="clip",
    named={"round": Goes()},
    export=Exported(
        fields("clip", "start_s", "end_s", "kind", "code", "answer", "answered_at"),
        lambda: Q(round__finished_at__isnull=False),
        gettext_lazy(
            "What a teacher is judging by ear, so as to check the program, until she has ended it."
        ),
    ),
    erasure=Goes(),
    kept=Kept.CLIP,
)

# -- questions from home ---------------------------------------------------------------------
register(
    Question,
    place="enrolment",
    named={
        "clip": Goes(),
        "assignment": Unlinked("What was asked about a drill is still what was asked."),
    },
    export=Exported(
        fields("id", "kind", "clip", "at_s", "quoted", "assignment", "created_at", "waits_since")
    ),
    erasure=Goes(),
    kept=Kept.LESSONS,
)
register(
    QuestionEntry,
    place="question__enrolment",
    named={
        "question": Goes(),
        "author": Stays("What was said is the pupil’s record; it names an emptied account."),
    },
    export=Exported(fields("question", "author", "by_teacher", "text", "said_at")),
    erasure=Goes(),
    kept=Kept.LESSONS,
)
