"""What the tables of drills answer."""

from django.db.models import Q
from django.utils import timezone

from studio.accounts.personal_data import (
    Exported,
    Goes,
    Kept,
    Stays,
    Unlinked,
    Withheld,
    fields,
    impersonal,
    register,
)
from studio.translating import gettext_lazy

from .models import (
    Assignment,
    Drill,
    DrillVersion,
    Favourite,
    LessonNote,
    PlannedLesson,
    PracticeEntry,
    Rotation,
    RotationHoliday,
    RotationLesson,
    RotationStart,
    Round,
    ScoreReading,
    ShelfSettings,
)

OF_THE_SHELF = Withheld(
    gettext_lazy(
        "The studio’s shelf. What was set for a pupil goes into the copy with its assignment."
    )
)

register(
    Drill,
    studio="studio",
    named={"created_by": Stays("What a teacher made for the shelf stays the studio’s.")},
    export=OF_THE_SHELF,
    erasure=Stays("It is about no pupil."),
    kept=Kept.STUDIO,
)
register(
    DrillVersion,
    studio="drill__studio",
    export=OF_THE_SHELF,
    erasure=Stays("It is about no pupil."),
    kept=Kept.STUDIO,
)
register(
    Assignment,
    place="enrolment",
    named={
        "version": Stays("A version that was set is never changed."),
        "set_by": Stays("The assignment is the pupil’s; it names an emptied account."),
    },
    export=Exported(
        fields(
            *("id", "set_by", "set_at", "due_on", "goal", "tolerance_cents", "share_percent"),
            *("playings", "single_notes", "position", "published_at", "done_at", "version__title"),
            *("version__words", "version__interval", "version__key", "version__score"),
        ),
        only=lambda: Q(published_at__lte=timezone.now()),
        but=gettext_lazy("Drills that the teacher has prepared and not yet given."),
    ),
    erasure=Goes(),
    kept=Kept.LESSONS,
)
register(
    Favourite,
    subjects=("person",),
    studio="drill__studio",
    export=Exported(fields("drill")),
    erasure=Goes(),
    kept=Kept.ACCOUNT,
)
register(
    ScoreReading,
    subjects=("person",),
    studio="studio",
    export=Exported(fields("filename", "instrument", "state", "result", "created_at")),
    erasure=Goes(),
    kept=Kept.READING,
)
impersonal(ShelfSettings, "The order in which a studio teaches intervals, and its instrument.")

# -- notes of lessons ----------------------------------------------------------------------
register(
    LessonNote,
    place="enrolment",
    named={
        "author": Stays(
            "A note of the pupil’s lesson is the pupil’s; it names an emptied account."
        ),
        "lesson": Unlinked("What was noted of the lesson stays when the plan goes."),
    },
    export=Exported(
        fields("id", "author", "held_on", "lesson", "text", "agreed", "shared_at", "created_at"),
        only=lambda: Q(shared_at__isnull=False),
        but=gettext_lazy("Working notes of lessons that the teachers have not shared."),
    ),
    erasure=Goes(),
    kept=Kept.LESSONS,
)
register(
    LessonNote.drills_set.through,
    place="lessonnote__enrolment",
    named={"assignment": Goes()},
    export=Withheld(gettext_lazy("It joins a note to its drills, which are in the copy.")),
    erasure=Goes(),
    kept=Kept.LESSONS,
)

# -- planned lessons -----------------------------------------------------------------------
register(
    PlannedLesson,
    place="enrolment",
    named={"planned_by": Stays("The lesson is the pupil’s; it names an emptied account.")},
    export=Exported(
        fields(
            *("id", "planned_by", "day", "at", "zone", "minutes", "where", "series", "number"),
            *("cancelled_at", "changed_at", "created_at"),
        )
    ),
    erasure=Goes(),
    kept=Kept.LESSONS,
)

# -- the plan of keys ----------------------------------------------------------------------
register(
    Rotation,
    place="enrolment",
    named={
        "created_by": Stays("The plan is the pupil’s; it names an emptied account."),
        "changed_by": Unlinked("The plan is the pupil’s."),
    },
    export=Exported(
        fields("created_by", "created_at", "first_on", "every_weeks", "readiness", "done_when")
    ),
    erasure=Goes(),
    kept=Kept.LESSONS,
)
register(
    RotationHoliday,
    place="rotation__enrolment",
    export=Exported(fields("first_on", "last_on")),
    erasure=Goes(),
    kept=Kept.LESSONS,
)
register(
    Round,
    place="rotation__enrolment",
    export=Exported(fields("number", "intervals", "strings", "octaves")),
    erasure=Goes(),
    kept=Kept.LESSONS,
)
register(
    RotationLesson,
    place="round__rotation__enrolment",
    export=Exported(fields("round__number", "position", "keys")),
    erasure=Goes(),
    kept=Kept.LESSONS,
)
register(
    RotationStart,
    subjects=("person",),
    studio="studio",
    export=Exported(fields("lessons", "rounds", "readiness", "done_when", "kept_at")),
    erasure=Goes(),
    kept=Kept.ACCOUNT,
)
register(
    RotationLesson.assignments.through,
    place="rotationlesson__round__rotation__enrolment",
    named={"assignment": Goes()},
    export=Withheld(
        gettext_lazy("It joins a lesson of the plan to its drills, which are in the copy.")
    ),
    erasure=Goes(),
    kept=Kept.LESSONS,
)

# -- practice ------------------------------------------------------------------------------
register(
    PracticeEntry,
    place="enrolment",
    named={
        "assignment": Unlinked("Minutes that were practised are still what was practised."),
        "made_by": Stays("What was noted is the pupil’s record; it names an emptied account."),
    },
    export=Exported(
        fields(
            *("id", "day", "minutes", "unbroken_min", "hand", "word", "assignment", "made_by"),
            "noted_at",
        )
    ),
    erasure=Goes(),
    kept=Kept.LESSONS,
)
