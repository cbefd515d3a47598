"""The forms of planned lessons, and of a calendar's file."""

from django.utils import timezone
from playwright.sync_api import Page

from studio.drills.models import PlannedLesson
from tests.drills.timetable.calendars import calendar

from .form import LOG_IN, OK_MESSAGE, Form, logged_out
from .rows import Rows

TODAY = timezone.localdate()
SOON, FAR = (f"{TODAY + timezone.timedelta(days=days)}" for days in (9, 800))
FILE = "tests/drills/timetable/windows-zones.ics"
NO_FILE = "tests/forms/__init__.py"
FOUND = "main form[action$='/take/'], main #left"


def _moved(rows: Rows) -> None:
    """A colleague was faster."""
    PlannedLesson.objects.filter(pk=rows.args["planned_lesson"]["pk"]).update(sequence=1)


def _looked_at(page: Page) -> None:
    """A file with one lesson, of which the page asks whose it is."""
    day = f"{TODAY + timezone.timedelta(days=9):%Y%m%d}"
    data = calendar(f"UID:a\nSUMMARY:Lesson\nDTSTART:{day}T160000Z\nDURATION:PT45M")
    page.locator("input[type=file]").set_input_files(
        {"name": "a.ics", "mimeType": "text/calendar", "buffer": data}
    )
    page.get_by_role("button", name="Look at it").click()
    page.locator(FOUND).first.wait_for()


FORMS: dict[str, list[Form]] = {
    "lesson_plan": [
        Form(
            who="teacher",
            at="lesson_plan",
            good={"pupil": "Jonas Weidegger", "day": SOON, "at": "16:30", "where": "Room 2"},
            bad={"day": FAR},
            seen=OK_MESSAGE,
        )
    ],
    "planned_lesson": [
        Form(
            who="teacher",
            at="planned_lesson",
            good={"day": SOON, "at": "17:15"},
            bad={"day": FAR},
            seen=OK_MESSAGE,
        ),
        Form(
            who="teacher",
            at="planned_lesson",
            good={"day": SOON},
            meanwhile=_moved,
            status=409,
            seen=OK_MESSAGE,
        ),
    ],
    "planned_lesson_cancel": [
        Form(
            who="teacher",
            at="planned_lesson",
            seen=OK_MESSAGE,
            meanwhile=logged_out,
            status=302,
            wrong=LOG_IN,
        )
    ],
    "lesson_import": [
        Form(
            who="teacher",
            at="lesson_import",
            good={"file": FILE},
            bad={"file": NO_FILE},
            seen=FOUND,
        )
    ],
    "lesson_import_take": [
        Form(
            who="teacher",
            at="lesson_import",
            before=_looked_at,
            good={"pupil-0": "Jonas Weidegger"},
            bad={"pupil-0": ""},
            seen=OK_MESSAGE,
        )
    ],
}
