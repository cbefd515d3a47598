"""The pages of what one was told, and of what one wants to be told."""

import pytest

from studio.accounts import notices, notifications
from studio.accounts.models import Notification, NotificationTimes
from studio.accounts.notifications import KINDS, kinds, telling
from tests.cast import as_person

TOLD, TELLING = "/account/told/", "/account/telling/"


def told(cast, to, kind="set", key="1") -> None:
    said = {"about": cast.pupil, "studio": cast.studio, "by": cast.teacher, "what": "Sixths"}
    assert notifications.tell(to, kind, key=key, path="/queue/", **said)


@pytest.mark.parametrize("who", ["teacher", "pupil", "guardian"])
def test_everybody_reads_of_the_kinds_for_her_and_no_others(cast, mail, who):
    person = getattr(cast, who)
    page = as_person(person).get(TELLING).text
    for kind in KINDS.values():
        mine = who in kind.told
        assert (str(kind.title) in page) == mine, kind.name
        assert (f'name="letter-{kind.name}"' in page) == (mine and kind.is_optional), kind.name
        assert (str(kind.always) in page) == mine or kind.is_optional


def test_what_is_ticked_is_kept_and_what_is_not_hers_is_not(cast, mail):
    browser = as_person(cast.pupil)
    page = browser.post(TELLING, {"page-set": "on", "letter-waiting": "on"}, follow=True).text
    assert "From now on you are told what you ticked." in page
    chosen = telling.choices_of(cast.pupil)
    assert (chosen["set"].on_page, chosen["set"].by_letter) == (True, False)
    assert (chosen["returned"].on_page, chosen["returned"].by_letter) == (False, False)
    assert not chosen["waiting"].by_letter
    assert cast.pupil.notification_choices.filter(kind="waiting").count() == 0


def test_times_are_kept_and_too_long_a_quiet_is_refused_with_the_bound(cast, mail):
    browser = as_person(cast.pupil)
    said = {"pace": "daily", "hour": "18", "weekday": "2", "quiet_from": "22"}
    said |= {"quiet_until": "6", "time_zone": "America/New_York"}
    assert browser.post(f"{TELLING}times/", said).status_code == 302
    kept = NotificationTimes.objects.get(person=cast.pupil)
    assert (kept.pace, kept.hour, kept.quiet_until) == ("daily", 18, 6)
    assert kept.time_zone == "America/New_York"
    refused = browser.post(f"{TELLING}times/", said | {"quiet_until": "21"})
    assert refused.status_code == 422
    assert "That would be 23 quiet hours, and at most 16 can be." in refused.text
    assert browser.post(f"{TELLING}times/", said | {"time_zone": "Nowhere"}).status_code == 422


def test_the_list_has_the_newest_first_and_what_is_seen_stays(cast, mail):
    told(cast, cast.pupil)
    notices.tell_each([cast.pupil], "Your password was changed.")
    told(cast, cast.pupil, "returned", "2")
    browser = as_person(cast.pupil)
    main = browser.get(TOLD).text.partition('<ul class="plain-list ruled people">')[2]
    at = [main.index(words) for words in ("has answered", "password was changed", "Sixths")]
    assert at == sorted(at)
    row = Notification.objects.get(key="1")
    other = Notification.objects.create(
        to=cast.other_pupil, about=cast.other_pupil, studio=cast.studio, kind="set", path="/"
    )
    for which in (str(row.pk), str(other.pk), "x", "9" * 40):
        assert browser.post(f"{TOLD}seen/", {"which": which}).status_code == 302
    assert set(Notification.objects.exclude(seen_at=None)) == {row}
    assert "Sixths" in browser.get(TOLD).text
    browser.post(f"{TOLD}seen/", {"which": "all"})
    assert not cast.pupil.notifications.filter(seen_at=None).exists()


@pytest.mark.parametrize(
    ("who", "home"), [("teacher", "/waiting/"), ("pupil", "/queue/"), ("guardian", "/children/")]
)
def test_where_one_begins_it_is_said_without_a_count_until_it_is_seen(cast, mail, who, home):
    person = getattr(cast, who)
    browser = as_person(person)
    assert "Something new" not in browser.get(home).text
    if who == "teacher":
        told(cast, person, "waiting", "in the list")
        assert "Something new" not in browser.get(home).text, "the list itself says so"
    told(cast, person, "caution" if who == "teacher" else "set")
    assert "Something new for you</a>" in browser.get(home).text
    assert "Something new" not in browser.get("/account/").text
    browser.post(f"{TOLD}seen/", {"which": "all"})
    assert "Something new" not in browser.get(home).text


def test_a_guardian_reads_what_her_child_is_told_in_the_childs_words(cast, mail):
    told(cast, cast.pupil)
    told(cast, cast.teacher, "caution", "2")
    page = as_person(cast.guardian).get(f"/children/{cast.enrolment.pk}/told/").text
    assert "Ottilie Brandt has set you a drill: Sixths." in page
    assert "practises" not in page, "what the teacher is told is hers"
    assert f"/children/{cast.enrolment.pk}/told/" in as_person(cast.guardian).get(TOLD).text
    assert not cast.pupil.notifications.exclude(seen_at=None).exists()


def test_what_is_not_wanted_in_the_pages_is_not_there(cast, mail):
    telling.choose(cast.pupil, "set", on_page=False, by_letter=True)
    told(cast, cast.pupil)
    assert "Sixths" not in as_person(cast.pupil).get(TOLD).text


def test_queries_of_the_list_do_not_grow(cast, mail, django_assert_max_num_queries):
    for number in range(15):
        told(cast, cast.pupil, key=str(number))
    browser = as_person(cast.pupil)
    with django_assert_max_num_queries(16):
        assert browser.get(TOLD).status_code == 200


def test_a_warning_says_its_kind_in_the_list(cast):
    notices.tell_each([cast.guardian], "On 1 April this goes.", kinds.GOING)
    assert "Something is about to be deleted" in as_person(cast.guardian).get(TOLD).text
