"""A lost password without mail: a teacher's link, the operator's, recovery codes; who is told."""

import re
from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.utils import timezone

from studio.accounts import passwords
from studio.accounts.lockout import PAIR_LIMIT
from studio.accounts.models import (
    Membership,
    Notice,
    OpenSession,
    PasswordLink,
    Person,
    RecoveryCode,
)
from studio.accounts.secret_words import as_typed, hashed
from tests.cast import PASSWORD, as_person, enrol, guard

NEW = "open strings ring"
TWICE = {"password": NEW, "again": NEW}


def fresh(person: Person) -> Person:
    return Person.objects.get(pk=person.pk)


def ask(teacher: Person, place, way: str = "post"):
    return getattr(as_person(teacher), way)(f"/people/places/{place.pk}/password/")


def link_by(teacher: Person, place) -> str:
    page = ask(teacher, place).content.decode()
    return re.search(r"http://testserver(/new-password/link/[\w-]+/)", page)[1]


# -- a teacher's link ----------------------------------------------------------------------


def test_a_teachers_link_sets_a_pupils_password_once(cast):
    inside = as_person(cast.pupil)
    link = link_by(cast.teacher, cast.enrolment)
    assert cast.pupil.email in as_person(None).get(link).content.decode()
    assert fresh(cast.pupil).check_password(PASSWORD), "looking changes nothing"
    assert as_person(None).post(link, TWICE).url == "/log-in/"
    assert fresh(cast.pupil).check_password(NEW)
    assert inside.get("/queue/").status_code == 302, "her open sessions have ended"
    for answer in (as_person(None).get(link), as_person(None).post(link, TWICE)):
        assert answer.status_code == 404
        assert "used already" in answer.content.decode()


def test_the_secret_has_256_bits_is_kept_hashed_and_lives_a_day(cast):
    secret = link_by(cast.teacher, cast.enrolment).split("/")[3]
    assert len(secret) * 6 >= 256
    row = PasswordLink.objects.get()
    assert row.token_sha256 == hashed(secret)
    assert secret not in str(PasswordLink.objects.values().get())
    assert row.expires_at - row.created_at <= timezone.timedelta(days=1, seconds=5)


def test_the_page_that_shows_it_is_kept_nowhere_and_can_be_posted_from(cast):
    answer = ask(cast.teacher, cast.enrolment)
    assert answer["Cache-Control"] == "private, no-store"
    assert answer["Referrer-Policy"] == "strict-origin"
    assert "/new-password/link/" not in ask(cast.teacher, cast.enrolment, "get").content.decode()


def test_the_pupil_and_the_guardian_are_told_by_whom_and_when(cast):
    link_by(cast.teacher, cast.enrolment)
    for who, words in ((cast.pupil, "your account"), (cast.guardian, "account of Mira Sandholm")):
        page = as_person(who).get("/account/").content.decode()
        assert "Ottilie Brandt made a link" in page
        assert words in page
        assert "If" in page
    assert Notice.objects.count() == 2, "nobody else"


def test_once_it_is_used_they_are_told_that_and_can_put_it_away(cast):
    as_person(None).post(link_by(cast.teacher, cast.enrolment), TWICE)
    guardian = as_person(cast.guardian)
    page = guardian.get("/children/").content.decode()
    assert "was changed on" in page
    assert "made a link with which" not in page, "one thing, told once"
    notice = Notice.objects.get(to=cast.guardian)
    assert as_person(fresh(cast.pupil)).post(f"/account/notices/{notice.pk}/").status_code == 404
    guardian.post(f"/account/notices/{notice.pk}/")
    assert "was changed on" not in guardian.get("/children/").content.decode()


@pytest.mark.parametrize("gone", ["run out", "replaced", "invented", "own change", "switched off"])
def test_a_link_that_no_longer_holds_opens_nothing(cast, gone):
    link = link_by(cast.teacher, cast.enrolment)
    if gone == "run out":
        PasswordLink.objects.update(expires_at=timezone.now())
    elif gone == "replaced":
        link_by(cast.teacher, cast.enrolment)
    elif gone == "invented":
        link = "/new-password/link/" + "x" * 43 + "/"
    elif gone == "own change":
        said = {"present_password": PASSWORD, "password": "my own words", "again": "my own words"}
        as_person(cast.pupil).post("/account/password/", said)
    else:
        Person.objects.filter(pk=cast.pupil.pk).update(is_active=False)
    assert as_person(None).post(link, TWICE).status_code == 404
    assert not fresh(cast.pupil).check_password(NEW)


def test_two_at_once_are_one(cast):
    secret = link_by(cast.teacher, cast.enrolment).split("/")[3]
    first, second = passwords.by_secret(secret), passwords.by_secret(secret)
    passwords.use_link(first, NEW)
    with pytest.raises(passwords.NoLongerOpen):
        passwords.use_link(second, "somebody else's words")
    assert fresh(cast.pupil).check_password(NEW)


MORE = [
    "guardian",
    "guards",
    "teaches",
    "teaches elsewhere",
    "guards elsewhere",
    "learns elsewhere",
]


def opens_more(cast, how: str) -> None:
    """The pupil's account comes to open more than a place in this studio."""
    pupil, other = cast.pupil, cast.foreign_enrolment.studio
    if how == "guards":
        guard(pupil, cast.other_pupil, cast.studio)
    elif how == "learns elsewhere":
        Membership.objects.create(person=pupil, studio=other, role="pupil")
        enrol(pupil, other, cast.foreign_teacher)
    else:
        role = "teacher" if how.startswith("teaches") else "guardian"
        studio = other if how.endswith("elsewhere") else cast.studio
        Membership.objects.create(person=pupil, studio=studio, role=role)


@pytest.mark.parametrize("how", MORE)
def test_for_an_account_that_opens_more_no_teacher_can_make_one(cast, how):
    opens_more(cast, how)
    page = ask(cast.teacher, cast.enrolment).content.decode()
    assert "a teacher cannot make a link" in page
    assert "/new-password/link/" not in page
    assert PasswordLink.objects.count() == 0
    with pytest.raises(passwords.NotYours):
        passwords.make_link(cast.pupil, by=cast.teacher)


@pytest.mark.parametrize("how", [*MORE, "the teacher left", "the pupil left"])
def test_a_link_ends_when_the_teacher_could_no_longer_make_it(cast, how):
    link = link_by(cast.teacher, cast.enrolment)
    today = timezone.localdate()
    if how == "the teacher left":
        Membership.objects.filter(person=cast.teacher).update(ended_on=today)
    elif how == "the pupil left":
        type(cast.enrolment).objects.filter(pk=cast.enrolment.pk).update(ended_on=today)
    else:
        opens_more(cast, how)
    assert as_person(None).post(link, TWICE).status_code == 404
    assert fresh(cast.pupil).check_password(PASSWORD)


def test_another_studios_teacher_a_pupil_and_a_guardian_cannot_ask(cast):
    for who in (cast.foreign_teacher, cast.pupil, cast.guardian):
        assert ask(who, cast.enrolment).status_code == 404
    assert PasswordLink.objects.count() == 0


def test_a_poor_password_is_refused_and_the_link_still_works(cast):
    link = link_by(cast.teacher, cast.enrolment)
    for poor in ("short", "password1", cast.pupil.email):
        answer = as_person(None).post(link, {"password": poor, "again": poor})
        assert answer.status_code == 422
    assert as_person(None).post(link, TWICE).status_code == 302


def test_who_was_logged_in_where_it_is_used_is_so_no_more(cast):
    """The browser may be the teacher's, who hands it over."""
    browser = as_person(cast.teacher)
    browser.post(link_by(cast.teacher, cast.enrolment), TWICE)
    assert browser.get("/waiting/").status_code == 302


# -- the operator --------------------------------------------------------------------------


def reset(address: str) -> str:
    said = StringIO()
    call_command("reset_password", address, stdout=said)
    return said.getvalue()


def test_the_operators_link_works_for_anybody_and_they_are_told(cast):
    said = reset(f" {cast.guardian.email.upper()} ")
    assert "http://localhost:8000/new-password/link/" in said
    assert "Edda Sandholm alone" in said
    as_person(None).post(re.search(r"(/new-password/link/[\w-]+/)", said)[1], TWICE)
    assert fresh(cast.guardian).check_password(NEW)
    page = as_person(fresh(cast.guardian)).get("/children/").content.decode()
    assert "whoever runs the studio’s machine made" in page


def test_an_address_that_nobody_has_is_said(cast):
    with pytest.raises(CommandError, match="Nobody logs in with"):
        reset("nobody@nowhere.example")
    with pytest.raises(CommandError, match="switched off"):
        reset(cast.disabled.email)


# -- recovery codes ------------------------------------------------------------------------


def codes_of(person: Person) -> list[str]:
    page = as_person(person).post("/account/codes/", {"present_password": PASSWORD})
    assert page["Cache-Control"] == "private, no-store"
    return re.findall(r"<code>([\w-]+)</code>", page.content.decode())


def use(email: str, code: str, **said):
    said = {"email": email, "code": code} | TWICE | said
    return as_person(None).post("/new-password/code/", said)


def test_a_recovery_code_sets_a_password_once_and_the_rest_are_counted(cast):
    inside, codes = as_person(cast.guardian), codes_of(cast.guardian)
    assert len(set(codes)) == passwords.CODES
    assert use(cast.guardian.email, codes[0]).url == "/log-in/"
    assert fresh(cast.guardian).check_password(NEW)
    assert inside.get("/children/").status_code == 302
    page = as_person(fresh(cast.guardian)).get("/account/").content.decode()
    assert "7 of 8 codes are left" in page
    assert "with a recovery code; 7 of 8 are left" in page, "she is told"
    assert use(cast.guardian.email, codes[0]).status_code == 422


def test_a_code_is_understood_as_people_type_it(cast):
    code = codes_of(cast.guardian)[0]
    typed = code.replace("-", " ").lower().replace("0", "o").replace("1", "l")
    assert use(cast.guardian.email.upper(), typed).status_code == 302


def test_codes_are_kept_hashed_and_new_ones_replace_them(cast):
    first = codes_of(cast.guardian)
    kept = str(list(RecoveryCode.objects.values()))
    assert not [code for code in first if code in kept or as_typed(code) in kept]
    assert len(as_typed(first[0])) * 5 >= 80
    codes_of(cast.guardian)
    assert use(cast.guardian.email, first[0]).status_code == 422


def test_codes_ask_for_the_password_and_are_shown_once(cast):
    guardian = as_person(cast.guardian)
    page = guardian.post("/account/codes/", {"present_password": "a guess"})
    assert (page.status_code, RecoveryCode.objects.count()) == (422, 0)
    code = codes_of(cast.guardian)[0]
    assert code not in guardian.get("/account/").content.decode()


def test_a_wrong_code_and_an_unknown_address_are_answered_alike(cast):
    code = codes_of(cast.guardian)[0]
    tries = [
        use("nobody@nowhere.example", code),
        use(cast.guardian.email, "0000-0000-0000-0000"),
        use(cast.pupil.email, code),
        use(cast.disabled.email, code),
    ]
    told = {re.findall(r'role="alert">(.*?)</div>', one.content.decode(), re.S)[0] for one in tries}
    assert [one.status_code for one in tries] == [422] * 4
    assert len(told) == 1
    assert fresh(cast.guardian).check_password(PASSWORD)


def test_codes_cannot_be_tried_for_ever_nor_beside_the_log_in(cast):
    code = codes_of(cast.guardian)[0]
    answers = [use(cast.guardian.email, "0000-0000-0000-0000") for _ in range(PAIR_LIMIT)]
    assert answers[0].status_code == 422
    waiting = use(cast.guardian.email, code)
    assert waiting.status_code == 429
    assert "Please wait a little" in waiting.content.decode()
    said = {"username": cast.guardian.email, "password": PASSWORD}
    assert as_person(None).post("/log-in/", said).status_code == 429
    assert fresh(cast.guardian).check_password(PASSWORD)


def test_two_uses_of_one_code_at_once_are_one(cast):
    code = codes_of(cast.guardian)[0]
    found = [passwords.find_code(cast.guardian.email, code) for _ in range(2)]
    passwords.use_code(found[0], NEW)
    with pytest.raises(passwords.NoLongerOpen):
        passwords.use_code(found[1], "somebody else's words")
    assert fresh(cast.guardian).check_password(NEW)


def test_a_new_password_lets_who_was_kept_waiting_in(cast):
    for _ in range(PAIR_LIMIT):
        said = {"username": cast.pupil.email, "password": "a guess"}
        as_person(None).post("/log-in/", said)
    as_person(None).post(link_by(cast.teacher, cast.enrolment), TWICE)
    said = {"username": cast.pupil.email, "password": NEW}
    assert as_person(None).post("/log-in/", said).status_code == 302
    assert OpenSession.objects.filter(person=cast.pupil).count() == 1
