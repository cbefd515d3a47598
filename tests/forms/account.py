"""The forms of the own account, of lost passwords, and of words that outlived their session."""

import time

from django_otp.oath import TOTP
from playwright.sync_api import Page

from studio.accounts import lesson_endings, second_step
from studio.accounts.models import Person
from tests.cast import PASSWORD

from .form import GONE, LOG_IN, OK_MESSAGE, Form, logged_out
from .rows import Rows

NEW = "three bows and a rosin"


def _account(**more) -> Form:
    return Form(who="teacher", at="account", **{"seen": OK_MESSAGE} | more)


def _address_taken(rows: Rows) -> None:
    Person.objects.create_user("p@p.example", PASSWORD, name="Quicker")


def _address_taken_too(rows: Rows) -> None:
    Person.objects.create_user("q@q.example", PASSWORD, name="Quicker")


def _lessons_ended(rows: Rows) -> None:
    lesson_endings.end_lessons(rows.cast.enrolment)


def _shown_now(rows: Rows) -> str:
    """What the app of the teacher shows, who is about to switch the second step on."""
    made = TOTP(second_step.begun(rows.cast.teacher).bin_key)
    made.time = time.time()
    return f"{made.token():06d}"


def _first_step(page: Page) -> None:
    """The colleague's password; the code comes next."""
    page.locator("[name=username]").fill("colleague@teacher.example")
    page.locator("[name=password]").fill(PASSWORD)
    page.locator("main form button.main").click()
    page.locator("[name=code]").wait_for()


def _with_step_on(seen: str, button: str) -> Form:
    return Form(
        who="colleague",
        at="account",
        which="form[action='/account/second-step/']",
        button=button,
        good={"present_password": PASSWORD, "phone_code": lambda rows: rows.phone_code},
        bad={"phone_code": "none of them"},
        seen=seen,
    )


def _words_outlive_the_session(page: Page) -> None:
    """Send a drill after the session ended, and log in again."""
    page.locator("[name=title]").fill("Tenths, one day")
    page.locator("[name=words]").fill("Slowly.")
    logged_out(None)
    page.locator("main form button.main").click()
    page.locator("[name=username]").fill("ottilie.brandt@teacher.example")
    page.locator("[name=password]").fill(PASSWORD)
    page.locator("main form button.main").click()
    page.locator(".kept-words").wait_for()


def _letters_off(page: Page) -> None:
    page.locator("main form button").click()
    page.locator("form[action^='/letters/on/']").wait_for()


def _pupil_closed(rows: Rows) -> None:
    Person.objects.filter(pk=rows.cast.pupil.pk).update(is_active=False)


FORMS = {
    "account_name": [_account(good={"name": "Ottilie B. Brandt"}, bad={"name": " "})],
    "account_address": [
        _account(
            good={"email": "ottilie@new.example", "present_password": PASSWORD},
            bad={"email": "ottilie"},
        )
    ],
    "account_password": [
        _account(
            good={"present_password": PASSWORD, "password": NEW, "again": NEW},
            bad={"again": f"{NEW}s"},
        )
    ],
    "account_codes": [
        _account(
            good={"present_password": PASSWORD},
            bad={"present_password": "none of them"},
            seen="main li code",
        )
    ],
    "account_again": [
        Form(
            who="teacher",
            at="account_again",
            good={"present_password": PASSWORD},
            bad={"present_password": "none of them"},
            seen="main:not(:has([name=present_password]))",
        )
    ],
    "log_in_code": [
        Form(
            who="anonymous",
            at="log_in",
            before=_first_step,
            good={"code": lambda rows: rows.phone_code},
            bad={"code": "none of them"},
            seen="nav[aria-label=Main]",
        )
    ],
    "second_step": [
        _account(
            good={"present_password": PASSWORD},
            bad={"present_password": "none of them"},
            seen="main svg.qr",
        )
    ],
    "second_step_confirm": [
        Form(
            who="teacher",
            at="second_step_confirm",
            good={"code": _shown_now},
            bad={"code": "none of them"},
            seen="main li code",
        )
    ],
    "second_step_codes": [_with_step_on("main li code", "[formaction$='/codes/']")],
    "second_step_off": [_with_step_on(OK_MESSAGE, "[formaction$='/off/']")],
    "account_sessions": [
        _account(
            which=":has([value=others])",
            meanwhile=logged_out,
            status=302,
            wrong=LOG_IN,
        )
    ],
    "account_address_take_back": [
        Form(
            who="pupil",
            at="account",
            seen=OK_MESSAGE,
            meanwhile=logged_out,
            status=302,
            wrong=LOG_IN,
        )
    ],
    "answer_address": [
        Form(
            who="guardian",
            at="answer_address",
            button="[value=agree]",
            seen=OK_MESSAGE,
            meanwhile=_address_taken_too,
            status=302,
            wrong=".messages .error",
        )
    ],
    "new_address": [
        Form(
            who="pupil",
            at="new_address",
            seen=OK_MESSAGE,
            meanwhile=_address_taken,
            status=302,
            wrong=".messages .error",
        )
    ],
    "notice_read": [
        Form(
            who="pupil",
            at="queue",
            seen="main:not(:has(.account-notice))",
            meanwhile=logged_out,
            status=302,
            wrong=LOG_IN,
        )
    ],
    "told_seen": [
        Form(
            who="pupil",
            at="told",
            seen="main:not(:has(li form))",
            button="[value=all]",
            which=":has([value=all])",
            meanwhile=logged_out,
            status=302,
            wrong=LOG_IN,
        )
    ],
    "telling": [
        Form(
            who="pupil",
            at="telling",
            good={"letter-set": True},
            seen=OK_MESSAGE,
            meanwhile=logged_out,
            status=302,
            wrong=LOG_IN,
        )
    ],
    "telling_times": [
        Form(
            who="pupil",
            at="telling",
            good={"quiet_from": "22", "quiet_until": "6", "time_zone": "America/New_York"},
            bad={"quiet_from": "8", "quiet_until": "7"},
            seen=OK_MESSAGE,
        )
    ],
    "calendar_make": [
        Form(
            who="teacher",
            at="telling",
            seen="main code",
            meanwhile=logged_out,
            status=302,
            wrong=LOG_IN,
        )
    ],
    "calendar_end": [
        Form(
            who="pupil",
            at="telling",
            seen=OK_MESSAGE,
            meanwhile=logged_out,
            status=302,
            wrong=LOG_IN,
        )
    ],
    "letters_off": [
        Form(
            who="anonymous",
            at="letters_off",
            good={"List-Unsubscribe": "One-Click"},
            bad={"List-Unsubscribe": "Two"},
            seen="main form[action^='/letters/on/']",
            status=400,
        )
    ],
    "letters_on": [
        Form(
            who="anonymous",
            at="letters_off",
            before=_letters_off,
            seen="main form[action^='/letters/off/']",
            meanwhile=_pupil_closed,
            status=404,
            wrong="main:not(:has(form))",
        )
    ],
    "password_by_code": [
        Form(
            who="anonymous",
            at="password_by_code",
            good={
                "email": "mira.sandholm@pupil.example",
                "code": lambda rows: rows.code,
                "password": NEW,
                "again": NEW,
            },
            bad={"code": "none of them"},
            seen=LOG_IN,
        )
    ],
    "password_by_link": [
        Form(
            who="anonymous",
            at="password_by_link",
            good={"password": NEW, "again": NEW},
            bad={"again": f"{NEW}s"},
            seen=LOG_IN,
        )
    ],
    "password_link": [
        Form(
            who="teacher",
            at="password_link",
            seen="textarea#password-link",
            meanwhile=_lessons_ended,
            status=404,
            wrong=GONE,
        )
    ],
    "kept_words_forget": [
        Form(
            who="teacher",
            at="drill_new",
            before=_words_outlive_the_session,
            seen="main:not(:has(.kept-words))",
            meanwhile=logged_out,
            status=302,
            wrong=LOG_IN,
        )
    ],
}
