"""What the table of figures over time answers."""

from django.db.models import Q

from studio.accounts.personal_data import (
    Exported,
    Goes,
    Kept,
    Stays,
    Withheld,
    fields,
    register,
)
from studio.translating import gettext_lazy

from .models import ClipFigures, ReportPrint, TermReport

register(
    ClipFigures,
    clip="clip",
    named={"listening": Goes()},
    export=Withheld(
        gettext_lazy("It follows from the measurement and the marks, which are in the copy.")
    ),
    erasure=Goes(),
    kept=Kept.CLIP,
)
register(
    TermReport,
    place="enrolment",
    named={"written_by": Stays("The report is the pupil’s; it names an emptied account.")},
    export=Exported(
        fields("since", "until", "given_at", "written_by", "words", "comes_next", "frozen"),
        only=lambda: Q(given_at__isnull=False),
        but=gettext_lazy("A draft of a report is a working note until it is given out."),
    ),
    erasure=Goes(),
    kept=Kept.LESSONS,
)
register(
    ReportPrint,
    place="report__enrolment",
    named={"report": Goes()},
    export=Withheld(gettext_lazy("It is the report on paper; what it says is in the copy.")),
    erasure=Goes(),
    kept=Kept.LESSONS,
)
