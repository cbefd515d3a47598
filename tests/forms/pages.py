"""The forms of studio.review's pages and of sending: lists, pupils, phrases, clips on their way."""

from datetime import timedelta

from django.conf import settings
from django.utils import timezone
from playwright.sync_api import Page

from studio.accounts.models import Person
from studio.clips.models import Upload
from studio.clips.uploads import access
from studio.clips.uploads import services as uploads
from studio.review.models import Return, Review
from studio.review.waiting import triage
from tests.deploy.processes import ROOT

from .drills import PAST, SETTING, SOON
from .form import GONE, LOG_IN, OK_MESSAGE, WARNED, Form, logged_out
from .rows import Rows, hear_in_tune

CLIP = str(ROOT / "sample_media" / "clips" / "short-octaves.mp4")
NO_CLIP = str(ROOT / "sample_media" / "README.md")


def _waiting(**more) -> Form:
    return Form(
        who="teacher",
        at="waiting_list",
        **{"seen": OK_MESSAGE, "status": 302, "wrong": WARNED} | more,
    )


def _review(rows: Rows, name: str) -> Review:
    return Review.objects.get(clip=rows.args[name]["clip_id"])


def _taken(rows: Rows) -> None:
    triage.take(_review(rows, "waiting_take"), rows.cast.colleague)


def _colleague_left(rows: Rows) -> None:
    rows.cast.colleague.memberships.update(ended_on=timezone.localdate() - timedelta(days=1))


def _seen_by_now(rows: Rows) -> None:
    Return.objects.filter(review__clip=rows.pending).update(visible_at=timezone.now())


def _as_many_as_may_be(rows: Rows) -> None:
    _as_many_as_may_be_of(rows, rows.cast.pupil)


def _as_many_as_may_be_of(rows: Rows, sender: Person) -> None:
    place = rows.cast.enrolment
    for _ in range(settings.MAX_UNFINISHED_UPLOADS - access.unfinished(sender, place).count()):
        uploads.begin(place, sender, 9, "")


def _sent_as_it_is(page: Page) -> None:
    """A browser that looks at nothing: the server says what it found."""
    page.locator("send-clip").evaluate("one => { one.dataset.endings += ',.md'; }")


def _send(page: Page, recording: str) -> None:
    _sent_as_it_is(page)
    page.set_input_files("input[type=file]", recording)
    page.locator("[name=title]").fill("Thirds, outside")
    page.locator("[name=subject]").select_option("question")
    page.locator("[data-part=send]").click()


def _say(page: Page, title: str) -> None:
    """As the page's script does while a recording is on its way; then look at what is kept."""
    page.locator("form[action$='/forget/']").first.evaluate(SAY, title)


SAY = """async (form, title) => {
  const body = new FormData(form);
  body.set("title", title);
  const answer = await fetch(form.action.replace("/forget/", "/words/"), { method: "POST", body });
  if (answer.ok) {
    location.reload();
  } else {
    const refusal = document.querySelector("[data-part=refusal]");
    refusal.textContent = (await answer.json()).sentence;
    refusal.hidden = false;
  }
}"""


def _of_a_round(**more) -> Form:
    refusal = {"meanwhile": logged_out, "status": 302, "wrong": LOG_IN}
    return Form(who="teacher", at="blind_audit_round", **refusal | more)


def _judged(page: Page) -> None:
    """The one moment is judged, so that the round can be ended, or the answer taken back."""
    page.keyboard.press("1")
    page.locator("#end button.main").wait_for()


FORMS = {
    "waiting_take": [_waiting(meanwhile=_taken)],
    "waiting_let_go": [
        _waiting(args=lambda rows: {"clip_id": rows.heard.pk}, meanwhile=logged_out, wrong=LOG_IN)
    ],
    "waiting_hand_over": [_waiting(good={"to": "Colleague"}, meanwhile=_colleague_left)],
    "waiting_snooze": [
        _waiting(
            which=":has(input[type=date])",
            good={"until": SOON},
            bad={"until": PAST},
            status=0,
            wrong="[name=until]:invalid",
        ),
        _waiting(
            which=":has(button[value=week])",
            button="[value=week]",
            meanwhile=logged_out,
            wrong=LOG_IN,
        ),
    ],
    "batch": [
        Form(
            who="foreign_teacher",
            at="batch",
            good={"[name^='summary-']": "Well held"},
            meanwhile=lambda rows: hear_in_tune(rows.quiet),
            seen=OK_MESSAGE,
            status=409,
        )
    ],
    "return_take_back": [_waiting(seen="clip-desk", meanwhile=_seen_by_now)],
    "return_send_now": [_waiting(meanwhile=logged_out, wrong=LOG_IN)],
    "simple_reading": [
        Form(
            who=who,
            at=at,
            which="[action$='/reading/']",
            seen=OK_MESSAGE,
            meanwhile=logged_out,
            wrong=LOG_IN,
            status=302,
        )
        for who, at in (("teacher", "pupil"), ("guardian", "child"))
    ],
    "pupil_about": [
        Form(
            who="teacher",
            at="pupil",
            good={"level": "advanced", "kind": "viola", "string_length_mm": "370"},
            bad={"string_length_mm": "37"},
            seen=OK_MESSAGE,
        )
    ],
    "pupil_set_drill": [
        Form(
            who="teacher",
            at="pupil",
            good={"drill": "Octaves, slowly", **SETTING},
            bad={"due_on": PAST},
            seen=OK_MESSAGE,
        )
    ],
    "phrases": [
        Form(
            who="teacher",
            at="phrases",
            good={"text": "More bow at {interval}", "kind": "bow"},
            bad={"text": "More bow at {dawn}"},
            seen="main li:has-text('More bow at {interval}')",
        )
    ],
    "phrase": [
        Form(
            who="teacher",
            at="phrase",
            good={"text": "Less weight", "kind": "sound"},
            bad={"text": " "},
            seen="main li:has-text('Less weight')",
        )
    ],
    "phrase_delete": [
        Form(
            who="teacher",
            at="phrases",
            seen=OK_MESSAGE,
            meanwhile=lambda rows: rows.cast.teacher.phrases.all().delete(),
            status=404,
            wrong=GONE,
        )
    ],
    "summary_templates": [
        Form(
            who="teacher",
            at="summary_templates",
            which="#words",
            good={"name": "Short", "text": "{better}"},
            bad={"name": " "},
            seen=OK_MESSAGE,
        )
    ],
    "summary_template": [
        Form(
            who="teacher",
            at="summary_template",
            good={"name": "Longer", "text": "{better} And {dawn}."},
            bad={"text": " "},
            seen=WARNED,
        )
    ],
    "summary_template_delete": [
        Form(
            who="teacher",
            at="summary_templates",
            seen=OK_MESSAGE,
            meanwhile=lambda rows: rows.cast.teacher.summary_templates.all().delete(),
            status=404,
            wrong=GONE,
        )
    ],
    "phrase_move": [
        Form(
            who="teacher",
            at="phrases",
            button="[value=down]",
            seen="main li:first-child:has-text('Higher')",
            meanwhile=logged_out,
            status=302,
            wrong=LOG_IN,
        )
    ],
    "blind_audit": [
        Form(
            who="colleague",
            at="blind_audit",
            seen=WARNED,
            meanwhile=logged_out,
            status=302,
            wrong=LOG_IN,
        )
    ],
    "blind_audit_round": [_of_a_round(seen="#end button.main")],
    "blind_audit_back": [_of_a_round(before=_judged, seen="#back button:disabled")],
    "blind_audit_end": [_of_a_round(before=_judged, seen="main .audit-figures")],
    "ask": [
        Form(
            who="pupil",
            at="ask",
            good={"text": "Which finger rolls back?"},
            bad={"text": "  "},
            seen=OK_MESSAGE,
        )
    ],
    "worked": [
        Form(
            who="pupil",
            at="assignment",
            which="[action*='/worked/']",
            seen=OK_MESSAGE,
            meanwhile=logged_out,
            status=302,
            wrong=LOG_IN,
        )
    ],
    "question": [
        Form(
            who="teacher", at="question", good={"text": "So."}, bad={"text": " "}, seen=OK_MESSAGE
        ),
        Form(
            who="guardian", at="question", good={"text": "And?"}, bad={"text": " "}, seen=OK_MESSAGE
        ),
    ],
    "question_rest": [
        Form(
            who="teacher",
            at="question",
            which="[action$='/rest/']",
            seen=OK_MESSAGE,
            meanwhile=logged_out,
            status=302,
            wrong=LOG_IN,
        )
    ],
    "send": [
        Form(
            who="pupil",
            at="send",
            scripts=False,
            good={"recording": CLIP, "title": "Thirds", "note": "At home", "subject": "hand"},
            bad={"recording": NO_CLIP},
            seen=OK_MESSAGE,
        )
    ],
    # tus: pages reach these by script alone, so by the sending page and its script.
    "uploads": [
        Form(
            who="pupil",
            at="send",
            which="send-clip form",
            by_script=lambda page: _send(page, CLIP),
            seen=OK_MESSAGE,
            meanwhile=_as_many_as_may_be,
            status=429,
            wrong="[data-part=refusal]",
        )
    ],
    "child_send": [
        Form(
            who="guardian",
            at="child_send",
            scripts=False,
            good={"recording": CLIP, "title": "Thirds", "note": "At home", "subject": "hand"},
            bad={"recording": NO_CLIP},
            seen=OK_MESSAGE,
        )
    ],
    "uploads_for": [
        Form(
            who="guardian",
            at="child_send",
            which="send-clip form",
            by_script=lambda page: _send(page, CLIP),
            seen=OK_MESSAGE,
            meanwhile=lambda rows: _as_many_as_may_be_of(rows, rows.cast.guardian),
            status=429,
            wrong="[data-part=refusal]",
        )
    ],
    "send_arrived": [
        Form(
            who="pupil",
            at="send",
            which="send-clip form",
            by_script=lambda page: _send(page, CLIP),
            bad_by_script=lambda page: _send(page, NO_CLIP),
            seen=OK_MESSAGE,
            wrong="[data-part=refusal]",
        )
    ],
    "send_forget": [
        Form(
            who="pupil",
            at="send",
            seen=OK_MESSAGE,
            meanwhile=lambda rows: Upload.objects.all().delete(),
            status=404,
            wrong=GONE,
        )
    ],
    "send_words": [
        Form(
            who="pupil",
            at="send",
            which="send-clip form",
            by_script=lambda page: _say(page, "Sixths in the rain"),
            bad_by_script=lambda page: _say(page, "Sixths " * 100),
            seen="[data-half][data-title='Sixths in the rain']",
            wrong="[data-part=refusal]",
        )
    ],
    "send_same": [
        Form(
            who="pupil",
            at="send_same",
            seen=OK_MESSAGE,
            meanwhile=logged_out,
            status=302,
            wrong=LOG_IN,
        )
    ],
    "clip_put_away": [
        Form(
            who="pupil",
            at="queue",
            seen=OK_MESSAGE,
            meanwhile=logged_out,
            status=302,
            wrong=LOG_IN,
        )
    ],
}
