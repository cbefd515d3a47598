"""A child's log-in: a name and a code from her guardian, and a child who does not log in at all."""

import re

import pytest
from django.core.exceptions import ValidationError
from django.core.management import CommandError, call_command
from django.db import IntegrityError, transaction
from django.test import Client
from django.utils import timezone

from studio.accounts import child_log_in, consent, lesson_endings, notices, passwords
from studio.accounts.lockout import ACCOUNT_LIMIT, PAIR_LIMIT
from studio.accounts.models import AuditEntry, Letter, Notification, Person
from studio.review.models import Review
from studio.review.returning import notifications
from studio.review.returning.services import return_clip
from tests.cast import PASSWORD, as_person, enrol, guard, make_clip, person

CODE = re.compile(r"<code>([0-9A-Z]{4}(?:-[0-9A-Z]{4}){2})</code>")


@pytest.fixture
def place(cast):
    """Of Ida, nine years old, who has no address and does not log in."""
    ida = person("Ida Sandholm", cast.studio, "pupil", logs_in=False)
    ida.birth_year = timezone.localdate().year - 9
    ida.save()
    guard(cast.guardian, ida, cast.studio)
    return enrol(ida, cast.studio, cast.teacher, agreed_by=cast.guardian)


@pytest.fixture
def code(cast, place) -> str:
    return child_log_in.make(place.pupil, "ida.s", cast.guardian)


def log_in(name: str, password: str):
    return Client().post("/log-in/", {"username": name, "password": password})


def address(place) -> str:
    return f"/children/{place.pk}/log-in/"


# -- logging in ----------------------------------------------------------------------------


def test_the_guardian_makes_a_log_in_and_the_child_comes_in_with_it(cast, place):
    page = as_person(cast.guardian).post(address(place), {"login_name": "Ida.S"})
    code = CODE.search(page.content.decode())[1]
    client = Client()
    said = {"username": " IDA.S ", "password": code}
    assert client.post("/log-in/", said, follow=True).redirect_chain[-1] == ("/queue/", 302)
    assert code not in as_person(cast.guardian).get(address(place)).content.decode()


@pytest.mark.parametrize("typed", [str.lower, lambda code: code.replace("-", " "), "{} ".format])
def test_a_code_is_taken_as_it_was_meant(code, typed):
    assert log_in("ida.s", typed(code)).status_code == 302


def test_a_code_is_kept_as_passwords_are(code):
    ida = Person.objects.get(login_name="ida.s")
    assert code not in ida.password
    assert code.replace("-", "") not in ida.password
    assert len(code.replace("-", "")) * 5 == 60  # bits: five a letter, of 32 letters


def test_a_password_of_ones_own_is_taken_to_the_letter(cast, place, code):
    ida = place.pupil
    own = "Open-Strings-Ring"
    as_person(ida).post(
        "/account/password/", {"present_password": code, "password": own, "again": own}
    )
    assert log_in("ida.s", own).status_code == 302
    assert log_in("ida.s", own.lower()).status_code == 200
    assert log_in("ida.s", code).status_code == 200


def test_a_new_code_ends_the_old_one_and_the_childs_sessions(cast, place, code):
    child = as_person(place.pupil)
    assert child.get("/queue/").status_code == 200
    again = child_log_in.make(place.pupil, "ida.s", cast.guardian)
    assert child.get("/queue/").status_code == 302
    assert log_in("ida.s", code).status_code == 200
    assert log_in("ida.s", again).status_code == 302


def test_a_log_in_that_is_taken_away_opens_nothing(cast, place, code):
    child = as_person(place.pupil)
    page = as_person(cast.guardian).post(address(place), {"choice": "end"}, follow=True)
    assert "no longer logs in" in page.content.decode()
    assert child.get("/queue/").status_code == 302
    assert log_in("ida.s", code).status_code == 200
    ida = Person.objects.get(pk=place.pupil_id)
    assert (ida.login_name, ida.has_usable_password()) == (None, False)
    assert child_log_in.may_change(cast.guardian, ida)


@pytest.mark.parametrize("name", ["", " ", "ida", "nobody.at.all"])
def test_unknown_names_and_children_who_do_not_log_in_are_answered_alike(place, name):
    page = log_in(name, "4444-4444-4444").content.decode()
    assert ("do not belong together" in page) is bool(name.strip())


def test_tries_at_a_log_in_name_are_counted_as_those_at_an_address(code):
    answers = [log_in("ida.s", "wrong again").status_code for _ in range(PAIR_LIMIT)]
    assert answers[-1] == 429
    assert ACCOUNT_LIMIT > PAIR_LIMIT


def test_a_new_code_lets_nobody_wait_for_earlier_tries(cast, place, code):
    for _ in range(PAIR_LIMIT):
        log_in("ida.s", "wrong again")
    again = child_log_in.make(place.pupil, "ida.s", cast.guardian)
    assert log_in("ida.s", again).status_code == 302


# -- names ---------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["ida", "ida.fenn", "7.strings", "a" * 30, "Ida.Fenn"])
def test_a_log_in_name(name):
    child_log_in.validate(name)


@pytest.mark.parametrize(
    "name",
    ["", "id", "a" * 31, "ida fenn", "ida@fenn", ".ida", "ida.", "ida..fenn", "idá", "i\n.da"],
)
def test_what_is_no_log_in_name(name):
    with pytest.raises(ValidationError, match="letters from a to z"):
        child_log_in.validate(name)


def test_a_name_is_taken_once(cast, place, code):
    other = person("Otto Sandholm", cast.studio, "pupil", logs_in=False)
    guard(cast.guardian, other, cast.studio)
    second = enrol(other, cast.studio, cast.teacher)
    page = as_person(cast.guardian).post(address(second), {"login_name": "IDA.s"})
    assert page.status_code == 422
    assert "Somebody logs in with this name already" in page.content.decode()


def test_a_proposed_name_is_free(cast, place, code):
    assert child_log_in.proposed("Ida S") == "ida.s.2"
    assert child_log_in.proposed("Ida S", ("ida.s.2",)) == "ida.s.3"
    assert child_log_in.proposed("Zoë Åkerlund") == "zoe.akerlund"
    for name in ("Ål", "小提琴", "a" * 120):
        child_log_in.validate(child_log_in.proposed(name))


def test_whoever_has_a_password_has_a_name_to_log_in_with(place):
    with pytest.raises(IntegrityError), transaction.atomic():
        Person.objects.create_user(None, PASSWORD, name="Nobody")
    assert Person.objects.create_user(None, None, name="A child").logs_in_with == ""


def test_an_address_and_a_log_in_name_never_mean_two_people(cast, code):
    assert Person.objects.get_by_natural_key("ida.s").login_name == "ida.s"
    assert Person.objects.get_by_natural_key(cast.pupil.email) == cast.pupil
    with pytest.raises(Person.DoesNotExist):
        Person.objects.get_by_natural_key("")


# -- who may -------------------------------------------------------------------------------


def test_nobody_but_a_guardian_who_decides_everywhere_changes_a_log_in(cast, place):
    ida = place.pupil
    assert child_log_in.may_change(cast.guardian, ida)
    for other in (cast.teacher, cast.unlinked_guardian, cast.pupil, ida):
        assert not child_log_in.may_change(other, ida)
    enrol(ida, cast.other_studio, cast.foreign_teacher)
    assert not child_log_in.may_change(cast.guardian, ida), "another studio's place"


def test_a_teacher_who_guards_her_pupil_does_not_change_the_log_in(cast, place):
    cast.colleague.memberships.create(studio=cast.studio, role="guardian")
    guard(cast.colleague, place.pupil, cast.studio)
    assert not child_log_in.may_change(cast.colleague, place.pupil)
    page = as_person(cast.colleague).post(address(place), {"login_name": "mine"})
    assert "You cannot change" in page.content.decode()
    assert not Person.objects.filter(login_name="mine").exists()


@pytest.mark.parametrize("years_ago", [19, 40])
def test_nobody_makes_a_grown_up_a_log_in(cast, place, years_ago):
    ida = place.pupil
    ida.birth_year = timezone.localdate().year - years_ago
    ida.save()
    assert consent.is_grown_up(ida)
    assert not child_log_in.may_change(cast.guardian, ida)


def test_an_account_with_an_address_is_not_opened_by_a_guardian(cast):
    page = as_person(cast.guardian).post(address(cast.enrolment), {"login_name": "mira"})
    assert cast.pupil.email in page.content.decode()
    assert Person.objects.get(pk=cast.pupil.pk).login_name is None


def test_the_other_guardian_and_the_log_are_told(cast, place):
    aunt = person("Aunt Sandholm", cast.studio, "guardian")
    guard(aunt, place.pupil, cast.studio)
    code = child_log_in.make(place.pupil, "ida.s", cast.guardian)
    told = [notice.text for notice in notices.unread(aunt)]
    assert len(told) == 1
    assert "Ida Sandholm logs in, as ida.s" in told[0]
    assert code not in told[0]
    entry = AuditEntry.objects.get(act=AuditEntry.Act.CHILD_LOG_IN)
    assert (entry.by, entry.about, entry.studio) == (cast.guardian, place.pupil, cast.studio)


# -- who has no address --------------------------------------------------------------------


def test_no_letter_goes_to_who_has_no_address(settings, cast, place, code):
    settings.MAIL = {"EMAIL_HOST": "mail.example"}
    child_log_in.make(place.pupil, "ida.s", cast.guardian)
    passwords.make_link(place.pupil, by=cast.teacher)
    clip = make_clip(place)
    return_clip(Review.objects.get(clip=clip), cast.teacher, "Steady.")
    assert notifications.tell_due() == 1
    wants = Notification.objects.exclude(letter_due_at=None).values_list("to", flat=True)
    assert set(wants) == {cast.guardian.pk}
    assert set(Letter.objects.values_list("to", flat=True)) == {cast.guardian.email}


def test_a_teacher_helps_a_child_with_a_log_in_and_none_without(cast, place):
    assert not passwords.may_help(cast.teacher, place.pupil)
    page = as_person(cast.teacher).get(f"/people/places/{place.pk}/password/").content.decode()
    assert "Ida Sandholm does not log in" in page
    child_log_in.make(place.pupil, "ida.s", cast.guardian)
    link, secret = passwords.make_link(place.pupil, by=cast.teacher)
    page = as_person(None).get(f"/new-password/link/{secret}/").content.decode()
    assert "logs in with ida.s" in page
    passwords.use_link(link, "open strings ring")
    assert log_in("ida.s", "open strings ring").status_code == 302


def test_a_recovery_code_opens_a_log_in_name(place, code):
    printed = passwords.make_codes(place.pupil)[0]
    new = {"password": "open strings ring", "again": "open strings ring"}
    answer = Client().post("/new-password/code/", {"email": "Ida.S", "code": printed, **new})
    assert answer.status_code == 302
    assert log_in("ida.s", "open strings ring").status_code == 302


def test_a_child_leaves_her_account_in_her_guardians_hands(place, code):
    said = {"email": "ida@home.example", "present_password": code}
    page = as_person(place.pupil).post("/account/address/", said)
    assert page.status_code == 422
    assert "Your guardian chose your log-in name" in page.content.decode()


def test_who_has_grown_up_logs_in_with_an_address_instead(place, code):
    place.pupil.birth_year = timezone.localdate().year - 20
    place.pupil.save()
    said = {"email": "ida@home.example", "present_password": code}
    assert as_person(place.pupil).post("/account/address/", said).status_code == 302
    ida = Person.objects.get(pk=place.pupil_id)
    assert (ida.email, ida.login_name) == ("ida@home.example", None)
    assert log_in("ida@home.example", code).status_code == 302


def test_the_operators_commands_find_a_log_in_name(cast, place, code, capsys):
    call_command("reset_password", "IDA.s")
    assert "/new-password/link/" in capsys.readouterr().out
    call_command("log_out", "ida.s")
    with pytest.raises(CommandError, match="Nobody logs in with"):
        call_command("log_out", "otto.s")


def test_the_operator_confirms_a_teachers_child_who_does_not_log_in(cast, place, capsys):
    cast.colleague.memberships.create(studio=cast.studio, role="guardian")
    guard(cast.colleague, place.pupil, cast.studio)
    call_command("confirm_guardian", cast.colleague.email, "ida sandholm")
    assert "decides about consent for Ida Sandholm" in capsys.readouterr().out
    assert cast.colleague in consent.deciders(place)


def test_no_page_of_the_teachers_shows_an_address_that_is_not_there(cast, place):
    page = as_person(cast.teacher).get("/people/").content.decode()
    assert "no log-in of her own" in page
    assert "None" not in page


# -- once the lessons have ended -----------------------------------------------------------


def test_a_guardian_renews_the_code_while_something_of_ended_lessons_is_kept(cast, place, code):
    lesson_endings.end_lessons(place, cast.teacher)
    guardian = as_person(cast.guardian)
    kept = guardian.get(f"/rights/lessons/{place.pk}/").text
    assert address(place) in kept
    made = guardian.post(address(place), {"login_name": "ida.s", "choice": "make"}).text
    new = CODE.search(made)[1]
    assert log_in("ida.s", code).status_code == 200
    assert log_in("ida.s", new).status_code == 302
    assert f"/rights/lessons/{place.pk}/" in made


def test_nobody_of_a_studio_that_was_left_changes_it_for_one_where_lessons_go_on(cast, place, code):
    elsewhere = enrol(place.pupil, cast.other_studio, cast.foreign_teacher)
    lesson_endings.end_lessons(place, cast.teacher)
    assert not child_log_in.may_change(cast.guardian, place.pupil)
    shown = as_person(cast.guardian).get(address(place)).text
    assert "You cannot change how Ida Sandholm logs in" in shown
    lesson_endings.end_lessons(elsewhere, cast.foreign_teacher)
    assert not child_log_in.may_change(cast.guardian, place.pupil)
