"""The page of one's own account: name, address, password, codes, and open sessions."""

import re

import pytest
from django.core import mail as outbox
from django.test import Client

from studio.accounts import letters, sessions, tasks
from studio.accounts.lockout import PAIR_LIMIT
from studio.accounts.models import Letter, Notice, OpenSession, Person
from tests.cast import PASSWORD, as_person

NEW = "open strings ring"
PHONE = (
    "Mozilla/5.0 (Linux; Android 14; K) AppleWebKit/537.36 (KHTML, like Gecko) "
    "Chrome/130.0.0.0 Mobile Safari/537.36"
)


def browser(person: Person, agent: str = "", password: str = PASSWORD) -> Client:
    """Somebody who logged in by the page."""
    client = Client(HTTP_USER_AGENT=agent) if agent else Client()
    answer = client.post("/log-in/", {"username": person.email, "password": password})
    assert answer.status_code == 302
    return client


def fresh(person: Person) -> Person:
    return Person.objects.get(pk=person.pk)


@pytest.fixture
def mail(settings, monkeypatch) -> list:
    settings.MAIL, settings.DEFAULT_FROM_EMAIL = {"EMAIL_HOST": "mail.example"}, "s@s.example"
    monkeypatch.setattr(letters, "_wake", lambda: None)
    return outbox.outbox


# -- name and address ----------------------------------------------------------------------


def test_a_name_is_changed_and_an_empty_one_refused(cast):
    client = as_person(cast.pupil)
    assert client.post("/account/name/", {"name": " Mira S. "}).url == "/account/"
    assert fresh(cast.pupil).name == "Mira S."
    page = client.post("/account/name/", {"name": "  "})
    assert page.status_code == 422
    assert "Mira S." in page.content.decode(), "the head still names her"


def test_an_address_is_changed_with_the_password(cast):
    client, before = as_person(cast.teacher), cast.teacher.email
    said = {"email": " Otti@New.example ", "present_password": "something else"}
    page = client.post("/account/address/", said)
    assert (page.status_code, fresh(cast.teacher).email) == (422, before)
    assert "not your present password" in page.content.decode()
    client.post("/account/address/", said | {"present_password": PASSWORD})
    assert fresh(cast.teacher).email == "otti@new.example"
    assert client.get("/account/").status_code == 200, "she is still logged in"


def test_an_address_that_somebody_has_is_refused(cast):
    said = {"email": cast.teacher.email.upper(), "present_password": PASSWORD}
    page = as_person(cast.pupil).post("/account/address/", said)
    assert page.status_code == 422
    assert "cannot be used here" in page.content.decode()
    assert Notice.objects.count() == 0


def test_with_mail_the_new_address_confirms_the_change(cast, mail):
    client, before = as_person(cast.teacher), cast.teacher.email
    client.post("/account/address/", {"email": "m@new.example", "present_password": PASSWORD})
    tasks.send_letters()
    (letter,) = mail
    assert letter.to == ["m@new.example"]
    assert fresh(cast.teacher).email == before
    link = re.search(r"http://testserver(/\S+)", letter.body)[1]
    assert as_person(cast.other_pupil).post(link).status_code == 404
    assert "m@new.example" in client.get(link).content.decode()
    assert fresh(cast.teacher).email == before, "looking changes nothing"
    client.post(link)
    assert fresh(cast.teacher).email == "m@new.example"
    assert client.post(link).status_code == 404, "once"
    tasks.send_letters()
    assert before in {to for one in mail[1:] for to in one.to}


def test_with_mail_nobody_learns_who_else_has_an_address(cast, mail):
    pages = []
    for email in ("free@new.example", cast.teacher.email):
        said = {"email": email, "present_password": PASSWORD}
        page = as_person(cast.pupil).post("/account/address/", said, follow=True)
        pages.append(re.findall(r'<ul class="messages".*?</ul>', page.content.decode(), re.S)[0])
    assert pages[0] == pages[1].replace(cast.teacher.email, "free@new.example")
    assert Letter.objects.count() == 1


# -- password and sessions -----------------------------------------------------------------


def test_a_new_password_ends_every_other_session(cast):
    here, elsewhere = browser(cast.pupil), browser(cast.pupil)
    said = {"present_password": PASSWORD, "password": NEW, "again": NEW}
    assert here.post("/account/password/", said).url == "/account/"
    assert here.get("/queue/").status_code == 200
    assert elsewhere.get("/queue/").status_code == 302
    assert OpenSession.objects.filter(person=cast.pupil).count() == 1
    browser(cast.pupil, password=NEW)


@pytest.mark.parametrize(
    ("said", "sentence"),
    [
        ({"present_password": "not it"}, "not your present password"),
        ({"again": "open strings rang"}, "The two are not the same"),
        ({"password": "short", "again": "short"}, "at least 8 characters"),
    ],
)
def test_a_password_that_cannot_be_is_refused_and_nothing_ends(cast, said, sentence):
    client, elsewhere = browser(cast.pupil), browser(cast.pupil)
    full = {"present_password": PASSWORD, "password": NEW, "again": NEW}
    page = client.post("/account/password/", full | said)
    assert page.status_code == 422
    assert sentence in page.content.decode()
    assert elsewhere.get("/queue/").status_code == 200


def test_who_finds_a_browser_open_cannot_try_passwords_for_ever(cast):
    client = browser(cast.pupil)
    said = {"email": "n@n.example", "present_password": "a guess"}
    statuses = [client.post("/account/address/", said).status_code for _ in range(PAIR_LIMIT + 1)]
    assert statuses[0] == 422
    assert statuses[-1] == 429
    right = said | {"present_password": PASSWORD}
    assert client.post("/account/address/", right).status_code == 429


def test_the_page_lists_the_open_sessions_in_plain_words(cast):
    here = browser(cast.pupil)
    browser(cast.pupil, PHONE)
    browser(cast.other_pupil, "Mozilla/5.0 (Windows NT 10.0; rv:130.0) Firefox/130.0")
    page = here.get("/account/").content.decode()
    assert "Chrome on an Android phone" in page
    assert "Firefox" not in page, "another person's"
    assert "Mozilla" not in page
    for key in OpenSession.objects.values_list("pk", flat=True):
        assert key not in page, "what stands in the page opens nothing"


def test_one_session_or_all_others_are_ended(cast):
    here, phone, third = browser(cast.pupil), browser(cast.pupil, PHONE), browser(cast.pupil)
    foreign = browser(cast.other_pupil, PHONE)
    name = next(one.name for one in sessions.of(cast.pupil, None) if "Android" in one.device)
    other = sessions.of(cast.other_pupil, None)[0].name
    here.post("/account/sessions/", {"which": name})
    assert [c.get("/queue/").status_code for c in (here, phone, third)] == [200, 302, 200]
    here.post("/account/sessions/", {"which": other})
    assert foreign.get("/queue/").status_code == 200, "another person's session"
    here.post("/account/sessions/", {"which": "others"})
    assert [c.get("/queue/").status_code for c in (here, third)] == [200, 302]


def test_the_last_use_is_written_down_now_and_then(cast):
    client = browser(cast.pupil)
    row = OpenSession.objects.get(person=cast.pupil)
    old = row.used_at - 2 * sessions.USED_WITHIN
    OpenSession.objects.update(used_at=old)
    client.get("/account/")
    row.refresh_from_db()
    noted = row.used_at
    assert noted > old
    client.get("/account/")
    row.refresh_from_db()
    assert row.used_at == noted, "not at every request"


def test_sessions_that_have_run_out_are_removed(cast):
    browser(cast.pupil), browser(cast.teacher)
    row = OpenSession.objects.get(person=cast.pupil)
    OpenSession.objects.filter(pk=row.pk).update(expire_date="2020-01-01T00:00:00Z")
    tasks.end_old_sessions()
    assert OpenSession.objects.get().person == cast.teacher


@pytest.mark.parametrize(
    ("agent", "said"),
    [
        (PHONE, "Chrome on an Android phone"),
        (
            "Mozilla/5.0 (iPhone; CPU iPhone OS 17_0 like Mac OS X) AppleWebKit/605.1.15 (KHTML, "
            "like Gecko) Version/17.0 Mobile/15E148 Safari/604.1",
            "Safari on an iPhone",
        ),
        (
            "Mozilla/5.0 (Windows NT 10.0; Win64; x64) AppleWebKit/537.36 (KHTML, like Gecko) "
            "Chrome/130.0.0.0 Safari/537.36 Edg/130.0.0.0",
            "Edge on Windows",
        ),
        (
            "Mozilla/5.0 (X11; Linux x86_64; rv:130.0) Gecko/20100101 Firefox/130.0",
            "Firefox on Linux",
        ),
        ("curl/8", "An unknown device"),
        ("", "An unknown device"),
    ],
)
def test_a_device_is_called_what_a_person_calls_it(agent, said):
    assert sessions.device(agent) == said


# -- what browsers keep --------------------------------------------------------------------


@pytest.mark.parametrize(
    ("part", "path"),
    [
        *(("teacher", path) for path in ("/waiting/", "/pupils/", "/drills/", "/people/")),
        *(("pupil", path) for path in ("/queue/", "/send/", "/account/")),
        ("guardian", "/children/"),
        ("former_pupil", "/"),
    ],
)
def test_the_way_out_is_on_every_page(cast, part, path):
    page = as_person(cast.people()[part]).get(path)
    assert page.status_code == 200
    assert 'action="/log-out/"' in page.text


@pytest.mark.parametrize("address", ["/people/", "/waiting/", "/account/", "/log-in/", "/nowhere/"])
def test_no_browser_keeps_a_page(cast, address):
    for who in (cast.teacher, None):
        assert as_person(who).get(address)["Cache-Control"] == "private, no-store"
