import re
import time

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from studio.accounts import saved_forms
from studio.accounts.lockout import PAIR_LIMIT
from studio.accounts.models import Membership, OpenSession, Person
from tests.cast import PASSWORD, as_person


def log_in(email: str, password: str = PASSWORD, **more):
    return Client().post("/log-in/", {"username": email, "password": password, **more})


@pytest.mark.parametrize(
    ("part", "home"), [("teacher", "/waiting/"), ("pupil", "/queue/"), ("guardian", "/children/")]
)
def test_each_role_comes_to_its_own_first_page(cast, part, home):
    client, person = Client(), cast.people()[part]
    said = {"username": person.email, "password": PASSWORD}
    assert client.post("/log-in/", said, follow=True).redirect_chain[-1] == (home, 302)


def test_the_address_may_be_written_in_any_case(cast):
    assert log_in(cast.teacher.email.upper()).status_code == 302


def test_unknown_address_wrong_password_and_disabled_account_are_answered_alike(cast):
    tries = [
        log_in("nobody@nowhere.example"),
        log_in(cast.pupil.email, "not the password"),
        log_in(cast.disabled.email),
    ]
    told = {re.findall(r'role="alert">(.*?)</div>', page.content.decode())[0] for page in tries}
    assert [page.status_code for page in tries] == [200, 200, 200]
    assert len(told) == 1
    assert "do not belong together" in told.pop()


def test_after_too_many_wrong_passwords_a_plain_page_says_to_wait(cast):
    answers = [log_in(cast.pupil.email, "wrong again").status_code for _ in range(PAIR_LIMIT)]
    locked = log_in(cast.pupil.email)
    assert answers[:-1] == [200] * (PAIR_LIMIT - 1)
    assert locked.status_code == 429
    assert "Please wait a little" in locked.content.decode()
    assert log_in(cast.teacher.email).status_code == 302  # others are not held up


@pytest.mark.parametrize("elsewhere", ["https://evil.example/", "//evil.example/"])
def test_logging_in_leads_to_no_other_host(cast, elsewhere):
    assert log_in(cast.pupil.email, next=elsewhere).url == "/"
    assert log_in(cast.pupil.email, next="/send/").url == "/send/"


@pytest.mark.parametrize("ended", ["logged out", "row gone"])
def test_an_answer_that_comes_late_takes_no_newer_sessions_cookie(cast, ended, settings):
    """What a page asked just before a log-in in another tab is answered just after it."""
    client = as_person(cast.pupil)
    if ended == "logged out":
        client.post("/log-out/")
        client.cookies[settings.SESSION_COOKIE_NAME] = "of-the-session-before"
    else:
        OpenSession.objects.all().delete()
    late = client.head(
        "/uploads/0b9b2f2e-7b2a-4b8e-9a57-1d2c3b4a5e6f/", headers={"Tus-Resumable": "1.0.0"}
    )
    assert late.status_code == 401
    assert settings.SESSION_COOKIE_NAME not in late.cookies


def test_only_a_post_logs_out(cast):
    client = as_person(cast.pupil)
    assert client.get("/log-out/").status_code == 405
    assert client.get("/queue/").status_code == 200
    assert client.post("/log-out/").url == "/log-in/"
    assert client.get("/queue/").status_code == 302


def test_one_who_holds_more_roles_can_choose_in_the_head(cast):
    Membership.objects.create(person=cast.teacher, studio=cast.studio, role="guardian")
    page = as_person(cast.teacher).get("/waiting/").content.decode()
    homes = page.split('aria-label="As"')[1].split("</nav>")[0]
    assert re.findall(r'href="(\S+)"', homes) == ["/waiting/", "/children/"]
    assert 'aria-label="As"' not in as_person(cast.pupil).get("/queue/").content.decode()


def test_a_former_pupil_is_told_that_the_lessons_have_ended(cast):
    page = as_person(cast.former_pupil).get("/")
    assert "Your lessons have ended" in page.text
    assert "Larkhill strings" in page.text


def test_who_has_no_place_is_told_that_no_studio_has_one(cast):
    nobody = Person.objects.create_user("nobody@home.example", name="Nobody Here")
    page = as_person(nobody).get("/")
    assert (page.status_code, "no studio has a place" in page.text) == (200, True)


def test_one_without_a_studio_is_told_what_to_do(db):
    person = Person.objects.create_user("new@nowhere.example", PASSWORD, name="New")
    assert "Ask your teacher to add you" in as_person(person).get("/").content.decode()


def test_a_form_without_its_token_is_answered_in_plain_words(cast):
    client = Client(enforce_csrf_checks=True)
    answer = client.post("/log-in/", {"username": cast.pupil.email, "password": PASSWORD})
    assert answer.status_code == 403
    assert "Please send it again" in answer.content.decode()


@pytest.mark.parametrize(
    ("before", "leads_to"),
    [
        ("http://testserver/people/?q=1", "/people/?q=1"),
        ("http://testserver//evil.example/", "/"),
        ("http://evil.example/people/", "/"),
        ("", "/"),
    ],
)
def test_a_form_leads_back_to_its_own_page_and_to_no_other_host(cast, before, leads_to):
    client = as_person(cast.teacher)
    assert client.post("/log-in/kept/", headers={"referer": before}).url == leads_to


def kept_after(client: Client, said: dict, **headers) -> dict | None:
    """What waits after a form was sent without a session."""
    client.cookies.pop("session", None)
    headers = {"accept": "text/html", "sec-fetch-mode": "navigate"} | headers
    answer = client.post("/people/invite/pupil/", said, headers=headers)
    assert answer.url.startswith("/log-in/?next=")
    return client.session.get("kept_words")


@pytest.fixture
def known(cast) -> Client:
    """A browser in which the teacher logged in by the page."""
    client = Client()
    client.post("/log-in/", {"username": cast.teacher.email, "password": PASSWORD})
    return client


def test_no_password_and_no_file_is_kept(known):
    said = {"name": "Runa", "password": "a", "present_password": "b", "again": "c", "code": "d"}
    said["recording"] = SimpleUploadedFile("a.mp4", b"a recording")
    words = kept_after(known, said)
    assert (words["fields"], words["file"]) == ([["name", "Runa"]], True)


def test_words_are_kept_for_an_hour_at_most_and_not_without_bound(known, cast, monkeypatch):
    assert kept_after(known, {"name": "x" * 300_000}) is None
    assert kept_after(known, {"name": "Runa Feld"}) is not None
    known.post("/log-in/", {"username": cast.teacher.email, "password": PASSWORD})
    assert "Runa Feld" in known.get("/people/").content.decode()
    later = time.time() + 3601
    monkeypatch.setattr(saved_forms.time, "time", lambda: later)
    assert "Runa Feld" not in known.get("/people/").content.decode()


def test_nothing_is_kept_of_what_a_script_sent_or_nobody_known(known):
    said = {"name": "Runa"}
    assert kept_after(known, said, **{"sec-fetch-mode": "cors"}) is None
    assert kept_after(known, said, accept="*/*") is None
    known.cookies["known"] = "1:invented:signature"
    assert kept_after(known, said) is None
    assert kept_after(Client(), said) is None


def test_a_form_of_another_site_leaves_no_words(known):
    known.handler.enforce_csrf_checks = True
    known.cookies.pop("session", None)
    headers = {"accept": "text/html", "origin": "https://evil.example"}
    answer = known.post("/people/invite/pupil/", {"name": "Planted"}, headers=headers)
    assert answer.status_code == 403
    assert "kept_words" not in known.session
