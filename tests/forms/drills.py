"""The forms of studio.drills: the shelf, making, setting, the rotation of keys."""

from datetime import timedelta

from django.utils import timezone
from playwright.sync_api import Page

from studio.drills import services
from studio.drills.models import Drill, PracticeEntry
from studio.drills.rotation.models import Rotation

from .form import GONE, LOG_IN, OK_MESSAGE, Form, logged_out
from .rows import Rows

TODAY = timezone.localdate()
PAST, SOON, LATER = (f"{TODAY + timedelta(days=days)}" for days in (-3, 9, 12))
MUSIC = "tests/forms/two-bars.musicxml"
NO_MUSIC = "tests/forms/__init__.py"
SETTING = {"goal": "Still at the end", "due_on": SOON}


def _pressed(name: str, at: str, **more) -> Form:
    return Form(
        who="teacher", at=at, **{"meanwhile": logged_out, "status": 302, "wrong": LOG_IN} | more
    )


def _archived(rows: Rows) -> None:
    services.archive_drill(Drill.objects.get(pk=rows.args["drill"]["pk"]))


def _changed(rows: Rows) -> None:
    """A colleague changed the plan, so that the page shows an old one."""
    plan = Rotation.objects.get(enrolment=rows.cast.enrolment)
    Rotation.objects.filter(pk=plan.pk).update(version=plan.version + 1)


def _plan(seen: str = OK_MESSAGE, at: str = "rotation", **more) -> Form:
    """A form of the plan, refused because its page is old unless something bad is typed."""
    refusal = {} if "bad" in more else {"meanwhile": _changed, "status": 409}
    return Form(who="teacher", at=at, seen=seen, **refusal | more)


def _too_often(page: Page) -> None:
    """At once, before the preview says so and takes the button away."""
    page.locator("#preview button[formmethod=post]").wait_for()
    page.locator("form.maker").evaluate(
        """form => {
          form.noValidate = true;
          form.elements.playings.value = "99";
          form.querySelector("#preview button[formmethod=post]").click();
        }"""
    )


def _lesson_down(page: Page) -> None:
    page.locator("main button.grip:visible").first.focus()
    page.keyboard.press("ArrowDown")


FORMS = {
    "practice": [
        Form(
            who=who,
            at="practice",
            which="practice-note form",
            good={"minutes": "12", "unbroken_min": "6", "hand": "tired", "word": "Slow thirds"},
            bad={"unbroken_min": "13"},
            seen="main li:has-text('Slow thirds')",
        )
        for who in ("pupil", "guardian")
    ],
    "practice_entry": [
        Form(
            who="pupil",
            at="practice_entry",
            good={"minutes": "20", "unbroken_min": "10", "hand": "easy"},
            bad={"unbroken_min": "21"},
            seen=OK_MESSAGE,
        )
    ],
    "practice_entry_delete": [
        Form(
            who="pupil",
            at="practice_entry",
            which="[action$='/delete/']",
            seen=OK_MESSAGE,
            meanwhile=lambda rows: PracticeEntry.objects.all().delete(),
            status=404,
            wrong=GONE,
        )
    ],
    "drill_new": [
        Form(
            who="teacher",
            at="drill_new",
            good={"title": "Thirds, slowly", "words": "Hold each.", "tags": "left hand"},
            bad={"words": "  "},
            seen=OK_MESSAGE,
        )
    ],
    "drill_edit": [
        Form(
            who="teacher",
            at="drill_edit",
            good={"title": "Octaves, slower", "words": "Hold each one."},
            bad={"title": " "},
            seen=OK_MESSAGE,
        )
    ],
    "shelf_order": [
        Form(
            who="teacher",
            at="shelf_order",
            good={"order": "sixths\noctaves"},
            bad={"order": "sixths\nelevenths"},
            seen=OK_MESSAGE,
        )
    ],
    "drill_make": [
        Form(
            who="teacher",
            at="drill_make",
            which="form.maker",
            button="#preview button[formmethod=post]",
            good={"title": "Made to order", "playings": "2"},
            bad={"playings": "99"},
            bad_by_script=_too_often,
            wrong="#preview li",
            seen=OK_MESSAGE,
        )
    ],
    "drill_import": [
        Form(
            who="teacher",
            at="drill_import",
            good={"file": MUSIC},
            bad={"file": NO_MUSIC},
            seen="main #reading",
        ),
    ],
    "drill_reading": [
        Form(
            who="teacher",
            at="drill_reading",
            good={"title": "Two bars", "may_use": True},
            bad={"may_use": False},
            seen=OK_MESSAGE,
        ),
    ],
    "drill_fingers": [
        Form(
            who="teacher",
            at="drill_fingers",
            good={"[inputmode=decimal]": "2.5"},
            bad={"[inputmode=decimal]": "long"},
            seen=OK_MESSAGE,
        )
    ],
    "drill_copy": [
        _pressed(
            "drill_copy", "drill", seen=OK_MESSAGE, meanwhile=_archived, status=404, wrong=GONE
        )
    ],
    "drill_favourite": [
        _pressed("drill_favourite", "drill", seen="button[aria-pressed=true]", status=200)
    ],
    "drill_archive": [
        _pressed(
            "drill_archive", "drill", seen=OK_MESSAGE, meanwhile=_archived, status=404, wrong=GONE
        )
    ],
    "drill_set": [
        Form(
            who="teacher",
            at="drill",
            good={"pupil": "Jonas Weidegger", **SETTING},
            bad={"due_on": PAST},
            seen=OK_MESSAGE,
        )
    ],
    "drill_several": [
        Form(
            who="teacher",
            at="drill_several",
            good={"pupils": True, **SETTING},
            bad={"due_on": PAST},
            seen=OK_MESSAGE,
        )
    ],
    "tick_off": [
        Form(
            who="pupil", at="queue", seen=OK_MESSAGE, meanwhile=logged_out, status=302, wrong=LOG_IN
        ),
        Form(
            who="guardian",
            at="assignment",
            seen=OK_MESSAGE,
            meanwhile=logged_out,
            status=302,
            wrong=LOG_IN,
        ),
    ],
    "rotation": [
        _plan(
            args=lambda rows: {"pk": rows.cast.other_enrolment.pk},
            good={"first_on": SOON},
            bad={"first_on": PAST},
        )
    ],
    "rotation_rhythm": [_plan(good={"first_on": SOON}, bad={"first_on": PAST})],
    "rotation_holiday": [
        _plan(
            which=":has([name=last_on])",
            good={"first_on": SOON, "last_on": LATER},
            bad={"last_on": PAST},
        ),
        _plan(which=":not(:has([name=last_on]))"),
    ],
    "rotation_holiday_end": [_plan()],
    "rotation_readiness": [_plan(good={"ready": True})],
    "rotation_lists": [_plan(good={"readiness": "Ready."}, bad={"readiness": "x" * 200})],
    "rotation_start": [
        _plan(meanwhile=logged_out, status=302, wrong=LOG_IN),
    ],
    "rotation_round_end": [_plan()],
    "rotation_round_add": [_plan()],
    "rotation_round": [
        _plan(good={"intervals": True, "octaves": "1"}, bad={"[name=intervals]:checked": False})
    ],
    "lesson_notes": [
        Form(
            who="teacher",
            at="lesson_notes",
            good={"held_on": f"{TODAY}", "text": "The thumb is free.", "agreed": "Thirds, slowly"},
            bad={"held_on": LATER},
            seen=OK_MESSAGE,
        )
    ],
    "lesson_note": [
        Form(
            who="teacher",
            at="lesson_note",
            good={"held_on": f"{TODAY}", "text": "The thumb is freer."},
            bad={"held_on": LATER},
            seen=OK_MESSAGE,
        )
    ],
    "lesson_note_agreed": [
        Form(
            who="teacher",
            at="lesson_note",
            good={"due_on": SOON},
            bad={"due_on": PAST},
            seen=OK_MESSAGE,
        )
    ],
    "lesson_note_delete": [
        _pressed("lesson_note_delete", "lesson_note", seen=OK_MESSAGE),
    ],
    "rotation_order": [_plan(by_script=_lesson_down)],
    "rotation_move": [_plan(button="[value=down]")],
    "rotation_tick": [
        _plan(
            at="rotation_lesson",
            which=":has([value=all])",
            meanwhile=logged_out,
            status=302,
            wrong=LOG_IN,
        )
    ],
    "rotation_set": [
        _plan(at="rotation_lesson", good=SETTING, bad={"due_on": PAST}),
        _plan(at="rotation", good=SETTING, bad={"due_on": PAST}),
    ],
}
