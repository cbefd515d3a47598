"""The second step of a log-in: set up, asked for, spared, lost; and asking who is there again."""

import re
import time
from io import StringIO
from urllib.parse import parse_qs, unquote, urlsplit

import pytest
from django.core.management import CommandError, call_command
from django.test import Client
from django.utils import timezone
from django_otp.oath import TOTP
from django_otp.plugins.otp_totp.models import TOTPDevice

from studio.accounts import lockout, passwords, second_step
from studio.accounts.models import Notice, OpenSession, Person, RecoveryCode
from tests.cast import PASSWORD, as_person

SET_UP = {"present_password": PASSWORD}
NEW = "open strings ring"


class Phone:
    """An app on a phone: it knows the key, and the time."""

    def __init__(self, key: bytes) -> None:
        self.key = key

    def shows(self) -> str:
        made = TOTP(self.key, 30, 0, 6)
        made.time = time.time()
        return f"{made.token():06d}"


@pytest.fixture
def clock(monkeypatch):
    """The time by which codes are made and taken; it can be moved on."""
    real, moved = time.time, {"by": 0.0}
    monkeypatch.setattr(time, "time", lambda: real() + moved["by"])
    return moved


def begun(client: Client) -> tuple[Phone, str]:
    """A phone that has read the key from the page, and the page."""
    page = client.post("/account/second-step/", SET_UP).text
    key = re.search(r"<code>([A-Z2-7 ]+)</code>", page)[1].replace(" ", "")
    device = TOTPDevice.objects.get(confirmed=False)
    assert key == parse_qs(urlsplit(device.config_url).query)["secret"][0]
    return Phone(device.bin_key), page


@pytest.fixture
def phone(cast, clock) -> Phone:
    """The teacher has the second step on; the codes of that minute are used up."""
    client = as_person(cast.teacher)
    made, _ = begun(client)
    answer = client.post("/account/second-step/first/", {"code": made.shows()})
    assert answer.status_code == 200
    clock["by"] += 60
    return made


def step_one(email: str, client: Client | None = None, **more) -> Client:
    client = client or Client()
    client.post("/log-in/", {"username": email, "password": PASSWORD, **more})
    return client


def step_two(client: Client, code: str, **more):
    return client.post("/log-in/code/", {"code": code, **more})


def is_in(client: Client) -> bool:
    return client.get("/account/").status_code == 200


def told(who: Person) -> str:
    return " ".join(Notice.objects.filter(to=who).values_list("text", flat=True))


# -- the codes themselves ------------------------------------------------------------------

# RFC 6238, appendix B, the rows for SHA-1 (https://www.rfc-editor.org/rfc/rfc6238#appendix-B);
# the six-digit codes are their last six digits (RFC 4226, section 5.3: modulo 10^Digit).
RFC_KEY = b"12345678901234567890"
RFC_VECTORS = [
    (59, "94287082"),
    (1111111109, "07081804"),
    (1111111111, "14050471"),
    (1234567890, "89005924"),
    (2000000000, "69279037"),
    (20000000000, "65353130"),
]


@pytest.mark.parametrize(("seconds", "code"), RFC_VECTORS)
def test_the_codes_are_those_of_rfc_6238(cast, monkeypatch, seconds, code):
    device = TOTPDevice.objects.create(user=cast.teacher, key=RFC_KEY.hex(), confirmed=True)
    monkeypatch.setattr(time, "time", lambda: float(seconds))
    wrong = f"{(int(code[-6:]) + 1) % 10**6:06d}"
    request = Client().get("/log-in/").wsgi_request
    assert not second_step.is_right(request, cast.teacher, wrong)
    assert second_step.is_right(request, cast.teacher, code[-6:])
    assert (device.digits, device.step, device.t0) == (6, 30, 0)


# -- setting it up -------------------------------------------------------------------------


def test_it_is_set_up_with_a_picture_and_a_key_and_a_first_code(cast):
    client = as_person(cast.teacher)
    phone, page = begun(client)
    assert "<svg width=" in page
    assert "style=" not in page.split("<main")[1], "the page allows no style of its own"
    assert not second_step.is_on(cast.teacher), "nothing is on before the first code"
    wrong = client.post("/account/second-step/first/", {"code": "000000"})
    assert wrong.status_code == 422
    assert "This is not the present code" in wrong.text
    assert re.search(r"<code>[A-Z2-7 ]+</code>", wrong.text), "the key is still there"
    answer = client.post("/account/second-step/first/", {"code": phone.shows()})
    codes = re.findall(r"<code>([\w-]+)</code>", answer.text)
    assert len(set(codes)) == second_step.CODES
    assert answer["Cache-Control"] == "private, no-store"
    assert second_step.is_on(cast.teacher)
    assert "was switched on" in told(cast.teacher)
    assert codes[0] not in client.get("/account/").text, "told once"
    assert "8 of 8 printed codes" in client.get("/account/").text


def test_the_picture_holds_what_apps_read(cast):
    device = second_step.begin(cast.teacher)
    said = urlsplit(device.config_url)
    assert (said.scheme, said.netloc) == ("otpauth", "totp")
    assert unquote(said.path) == f"/Studio:{cast.teacher.email}"
    query = {name: values[0] for name, values in parse_qs(said.query).items()}
    assert query["issuer"] == "Studio"
    assert (query["digits"], query["period"]) == ("6", "30")
    assert len(device.bin_key) == 20, "160 bits, as RFC 4226 (section 4, R6) recommends"


def test_it_needs_the_password_and_the_key_is_not_shown_again_later(cast):
    client = as_person(cast.teacher)
    answer = client.post("/account/second-step/", {"present_password": "none of them"})
    assert answer.status_code == 422
    assert TOTPDevice.objects.count() == 0
    begun(client)
    session = client.session
    session["shown_at"] = session["since"] = "2026-01-01T00:00:00+00:00"
    session.save()
    assert client.get("/account/second-step/first/").url == "/account/"


@pytest.mark.parametrize("part", ["pupil", "guardian"])
def test_anybody_may_have_it_and_a_childs_guardian_is_told(cast, part):
    client = as_person(cast.people()[part])
    phone, _ = begun(client)
    client.post("/account/second-step/first/", {"code": phone.shows()})
    assert second_step.is_on(cast.people()[part])
    assert ("of Mira Sandholm was switched on" in told(cast.guardian)) == (part == "pupil")


def test_switched_on_every_other_session_ends(cast):
    elsewhere, here = as_person(cast.teacher), as_person(cast.teacher)
    phone, _ = begun(here)
    here.post("/account/second-step/first/", {"code": phone.shows()})
    assert is_in(here)
    assert not is_in(elsewhere)


# -- asking for it -------------------------------------------------------------------------


def test_the_password_alone_opens_nothing(cast, phone):
    client = step_one(cast.teacher.email)
    for path in ("/account/", "/waiting/", f"/pupils/{cast.enrolment.pk}/"):
        assert client.get(path).status_code == 302
    assert not OpenSession.objects.filter(pk=client.session.session_key, person=cast.teacher)
    assert "The second step" in client.get("/log-in/code/").text


def test_each_step_gives_the_browser_a_new_session(cast, phone):
    client = Client()
    client.get("/log-in/")
    keys = [client.session.session_key]
    step_one(cast.teacher.email, client)
    keys.append(client.session.session_key)
    step_two(client, phone.shows())
    keys.append(client.session.session_key)
    assert len(set(keys)) == 3
    assert OpenSession.objects.filter(pk__in=keys).count() == 1


def test_the_code_leads_to_where_one_was_going(cast, phone):
    client = step_one(cast.teacher.email, next="/people/")
    assert step_two(client, phone.shows()).url == "/people/"
    assert is_in(client)


@pytest.mark.parametrize("elsewhere", ["https://evil.example/", "//evil.example/"])
def test_it_leads_to_no_other_host(cast, phone, elsewhere):
    client = step_one(cast.teacher.email, next=elsewhere)
    assert step_two(client, phone.shows()).url == "/"


def test_a_code_may_be_written_with_a_space(cast, phone):
    code = phone.shows()
    assert step_two(step_one(cast.teacher.email), f" {code[:3]} {code[3:]}").status_code == 302


def test_a_code_works_once(cast, phone):
    code = phone.shows()
    assert step_two(step_one(cast.teacher.email), code).status_code == 302
    again = step_one(cast.teacher.email)
    assert step_two(again, code).status_code == 422
    assert not is_in(again)


@pytest.mark.parametrize(("late", "taken"), [(-60, False), (-30, True), (30, True), (60, False)])
def test_a_clock_may_be_half_a_minute_off(cast, phone, clock, late, taken):
    clock["by"] += 120
    code = phone.shows()
    clock["by"] += late
    assert (step_two(step_one(cast.teacher.email), code).status_code == 302) == taken


def test_wrong_codes_have_to_wait_and_a_known_browser_waits_for_its_own_alone(cast, phone, clock):
    home = step_one(cast.teacher.email)
    step_two(home, phone.shows())
    home.post("/log-out/")
    clock["by"] += 60
    stranger = step_one(cast.teacher.email)
    answers = [step_two(stranger, "000000").status_code for _ in range(lockout.PAIR_LIMIT + 1)]
    assert answers == [422] * lockout.PAIR_LIMIT + [429]
    assert step_two(stranger, phone.shows()).status_code == 429, "the right one too"
    assert "Wait a little" in step_two(stranger, phone.shows()).text
    assert step_two(step_one(cast.teacher.email), phone.shows()).status_code == 429
    step_one(cast.teacher.email, home)
    assert step_two(home, phone.shows()).status_code == 302


def test_ten_minutes_after_the_password_it_is_asked_for_again(cast, phone, clock):
    client = step_one(cast.teacher.email)
    clock["by"] += 601
    assert client.get("/log-in/code/").url == "/log-in/"
    assert step_two(client, phone.shows()).url == "/log-in/"


@pytest.mark.parametrize("changed", ["password", "account"])
def test_what_changed_since_the_password_ends_it(cast, phone, changed):
    client = step_one(cast.teacher.email)
    if changed == "password":
        passwords.renew(cast.teacher, NEW)
    else:
        Person.objects.filter(pk=cast.teacher.pk).update(is_active=False)
    assert step_two(client, phone.shows()).url == "/log-in/"


def test_nobody_gets_there_without_the_password(cast, phone):
    assert Client().get("/log-in/code/").url == "/log-in/"
    assert step_two(Client(), phone.shows()).url == "/log-in/"


def test_a_new_password_does_not_go_round_it(cast, phone):
    code = passwords.make_codes(cast.teacher)[0]
    client = Client()
    said = {"email": cast.teacher.email, "code": code, "password": NEW, "again": NEW}
    client.post("/new-password/code/", said)
    client.post("/log-in/", {"username": cast.teacher.email, "password": NEW})
    assert not is_in(client)
    assert step_two(client, phone.shows()).status_code == 302


# -- spared for 30 days --------------------------------------------------------------------


@pytest.fixture
def spared(cast, phone) -> Client:
    client = step_one(cast.teacher.email)
    answer = step_two(client, phone.shows(), spare="on")
    assert answer.cookies["spared"]["max-age"] == 30 * 24 * 60 * 60
    client.post("/log-out/")
    return client


def test_a_device_that_stays_known_is_not_asked(cast, spared):
    assert is_in(step_one(cast.teacher.email, spared))


def test_it_opens_nothing_without_the_password_nor_for_anybody_else(cast, spared):
    assert not is_in(spared)
    other = as_person(cast.colleague)
    phone, _ = begun(other)
    other.post("/account/second-step/first/", {"code": phone.shows()})
    assert not is_in(step_one(cast.colleague.email, spared))


@pytest.mark.parametrize("ends", ["a month", "password", "everywhere", "another phone"])
def test_what_ends_it(cast, spared, clock, ends):
    person = Person.objects.get(pk=cast.teacher.pk)
    if ends == "a month":
        clock["by"] += second_step.SPARED_S + 1
    elif ends == "password":
        passwords.renew(person, PASSWORD)
    elif ends == "everywhere":
        as_person(person).post("/account/sessions/", {"which": "others"})
    else:
        TOTPDevice.objects.filter(user=person).update(confirmed=False)
        TOTPDevice.objects.create(user=person, confirmed=True)
    assert not is_in(step_one(cast.teacher.email, spared))


# -- a lost phone --------------------------------------------------------------------------


def test_a_printed_code_does_once_in_place_of_the_phone(cast, phone):
    code = second_step.make_codes(cast.teacher)[0]
    client = step_one(cast.teacher.email)
    assert step_two(client, code.lower().replace("-", " ")).status_code == 302
    again = step_one(cast.teacher.email)
    assert step_two(again, code).status_code == 422
    assert second_step.codes_left(cast.teacher) == second_step.CODES - 1


def test_printed_codes_are_kept_hashed_and_do_not_stand_in_for_each_other(cast, phone):
    lost_phone = second_step.make_codes(cast.teacher)[0]
    lost_password = passwords.make_codes(cast.teacher)[0]
    kept = str(list(RecoveryCode.objects.values()))
    assert lost_phone.replace("-", "") not in kept
    assert passwords.find_code(cast.teacher.email, lost_phone) is None
    assert step_two(step_one(cast.teacher.email), lost_password).status_code == 422
    assert RecoveryCode.objects.filter(person=cast.teacher).count() == 2 * second_step.CODES


def switch_off(address: str) -> str:
    out = StringIO()
    call_command("second_step_off", address, stdout=out)
    return out.getvalue()


def test_whoever_runs_the_machine_switches_it_off(cast, phone):
    assert "password alone" in switch_off(cast.teacher.email.upper())
    assert is_in(step_one(cast.teacher.email))
    assert "by whoever runs the studio’s machine" in told(cast.teacher)
    with pytest.raises(CommandError, match="already"):
        switch_off(cast.teacher.email)
    with pytest.raises(CommandError, match="Nobody logs in with"):
        switch_off("nobody@nowhere.example")


# -- changing what opens the account -------------------------------------------------------

ACTS = {
    "/account/second-step/off/": {},
    "/account/second-step/codes/": {},
    "/account/second-step/": {},
    "/account/codes/": {},
    "/account/address/": {"email": "new@new.example"},
    "/account/password/": {"password": NEW, "again": NEW},
}


@pytest.mark.parametrize("path", ACTS)
def test_it_needs_password_and_code(cast, phone, path):
    client, more = as_person(cast.teacher), ACTS[path]
    for said in (
        {"present_password": PASSWORD},
        {"present_password": PASSWORD, "phone_code": "000000"},
        {"present_password": "none of them", "phone_code": phone.shows()},
    ):
        assert client.post(path, said | more).status_code == 422
    said = {"present_password": PASSWORD, "phone_code": phone.shows()}
    assert client.post(path, said | more).status_code in (200, 302), "the code was not used up"


def test_switched_off_the_password_is_enough(cast, phone):
    said = {"present_password": PASSWORD, "phone_code": phone.shows()}
    as_person(cast.teacher).post("/account/second-step/off/", said)
    assert "was switched off" in told(cast.teacher)
    assert is_in(step_one(cast.teacher.email))
    client = as_person(cast.teacher)
    assert client.post("/account/second-step/off/", SET_UP).status_code == 404


def test_whoever_runs_the_machine_ends_sessions(cast, spared):
    step_one(cast.teacher.email, spared)
    pupil = as_person(cast.pupil)
    out = StringIO()
    call_command("log_out", cast.teacher.email, stdout=out)
    assert not is_in(spared)
    assert not is_in(step_one(cast.teacher.email, spared)), "the second step is asked for again"
    assert is_in(pupil)
    call_command("log_out", "--everybody", stdout=out)
    assert not is_in(pupil)
    with pytest.raises(CommandError, match="Nobody logs in with"):
        call_command("log_out", "nobody@nowhere.example")


# -- who is there, asked again -------------------------------------------------------------


@pytest.fixture
def hours_ago(cast) -> Client:
    """The teacher logged in this morning."""
    client = Client()
    client.post("/log-in/", {"username": cast.teacher.email, "password": PASSWORD})
    session = client.session
    session["since"] = (timezone.now() - timezone.timedelta(hours=3)).isoformat()
    session.save()
    return client


def sensitive(cast) -> list[str]:
    link = cast.pupil.guardians.get(guardian=cast.guardian).pk
    colleague = cast.colleague.memberships.get().pk
    return [
        f"/people/places/{cast.enrolment.pk}/password/",
        f"/people/guardians/{link}/end/",
        f"/people/teachers/{colleague}/end/",
    ]


def test_hours_after_the_log_in_sessions_are_ended_by_who_shows_the_password(cast, hours_ago):
    elsewhere = as_person(cast.teacher)
    assert hours_ago.post("/account/sessions/", {"which": "others"}).url.startswith(
        "/account/again/?next="
    )
    assert is_in(elsewhere)


def test_hours_after_the_log_in_what_opens_or_shuts_asks_again(cast, hours_ago):
    for path in sensitive(cast):
        for send in (hours_ago.get, hours_ago.post):
            assert send(path).url.startswith("/account/again/?next="), path
    assert cast.colleague.memberships.get().ended_on is None
    path = sensitive(cast)[0]
    where = hours_ago.get(path).url
    assert "Is it you?" in hours_ago.get(where).text
    wrong = hours_ago.post(where, {"present_password": "none of them", "next": path})
    assert wrong.status_code == 422
    before = hours_ago.session.session_key
    assert hours_ago.post(where, {"present_password": PASSWORD, "next": path}).url == path
    assert hours_ago.session.session_key != before
    assert not OpenSession.objects.filter(pk=before).exists()
    assert hours_ago.get(path).status_code == 200


def test_what_was_typed_waits_meanwhile(cast, hours_ago):
    said = {"name": "Linnea Falk", "email": "linnea@home.example"}
    page = "http://testserver/people/"
    asked = hours_ago.post(
        "/people/invite/teacher/", said, headers={"referer": page, "accept": "text/html"}
    )
    assert asked.url == "/account/again/?next=%2Fpeople%2F"
    back = hours_ago.post(asked.url, SET_UP | {"next": "/people/"})
    assert "Linnea Falk" in hours_ago.get(back.url).text
    assert hours_ago.post("/people/invite/teacher/", said).status_code == 200


def test_with_the_second_step_on_it_asks_for_a_code_too(cast, phone):
    client = as_person(cast.teacher)
    session = client.session
    session["since"] = "2026-01-01T00:00:00+00:00"
    session.save()
    assert client.post("/account/again/", SET_UP).status_code == 422
    said = SET_UP | {"phone_code": phone.shows(), "next": "//evil.example/"}
    assert client.post("/account/again/", said).url == "/"
