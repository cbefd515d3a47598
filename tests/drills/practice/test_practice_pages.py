"""Noting practice by the form: what is said to whom, on which day it counts; each press once."""

from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.utils import timezone

from studio.accounts import consent
from studio.accounts.models import Enrolment, NotificationTimes
from studio.drills.models import PracticeEntry
from studio.drills.practice import for_children, services, wording
from studio.drills.practice.cautions import CHILD, GROWN_UP, Reason
from studio.drills.practice.services import Practised
from studio.intonation.wording import for_children as marks
from tests.cast import as_person, make_drill, set_for

JSON = {"Accept": "application/json"}


def address(cast) -> str:
    return f"/lessons/{cast.enrolment.pk}/practice/"


def noted(cast, who=None, headers=None, **says):
    said = {"minutes": "15", "day": f"{timezone.localdate()}"} | says
    return as_person(who or cast.pupil).post(address(cast), said, headers=headers or {})


def test_it_is_noted_without_script_and_each_press_once(cast):
    for _ in range(2):
        answer = noted(cast, hand="easy", word="Slow thirds", form_key="k")
        assert answer.status_code == 302
    entry = PracticeEntry.objects.get()
    assert (entry.minutes, entry.hand, entry.word, entry.unbroken_min) == (
        *(15, "easy", "Slow thirds"),
        None,
    )
    shown = as_person(cast.pupil).get(answer["Location"]).text
    assert "15 min" in shown
    assert "Slow thirds" in shown
    assert "physiotherapist look" not in shown.split("<practice-note")[0]


def test_a_script_is_answered_once_too_and_in_words(cast):
    answers = [noted(cast, headers=JSON | {"X-Sender": f"{cast.pupil.pk}"}, form_key="k")]
    answers.append(noted(cast, headers=JSON, form_key="k"))
    assert [answer.status_code for answer in answers] == [201, 201]
    assert answers[0].json() == answers[1].json()
    assert answers[0].json()["next"].startswith(address(cast))
    assert PracticeEntry.objects.count() == 1
    refused = noted(cast, headers=JSON, unbroken_min="16")
    assert refused.status_code == 422
    assert "Make it 15 at most." in refused.json()["sentence"]
    other = noted(cast, headers=JSON | {"X-Sender": f"{cast.guardian.pk}"})
    assert other.status_code == 409
    consent.withdraw(cast.enrolment, cast.guardian, consent.Purpose.RECORDINGS)
    missing = noted(cast, headers=JSON)
    assert missing.status_code == 403
    assert "only while consent to recordings holds" in missing.json()["sentence"]
    assert PracticeEntry.objects.count() == 1


@pytest.mark.parametrize(
    ("says", "why"),
    [
        ({"minutes": "0"}, "minutes"),
        ({"minutes": "241"}, "minutes"),
        ({"minutes": ""}, "minutes"),
        ({"unbroken_min": "16"}, "unbroken_min"),
        ({"hand": "splendid"}, "hand"),
        ({"word": "x" * 201}, "word"),
        ({"day": "2020-01-01"}, "day"),
        ({"assignment": "0"}, "assignment"),
    ],
)
def test_what_cannot_be_is_refused_with_why_and_what_was_typed_stays(cast, says, why):
    answer = noted(cast, **({"word": "Slow thirds"} | says))
    assert answer.status_code == 422
    assert why in answer.context["note"]["form"].errors
    assert "word" in says or "Slow thirds" in answer.text
    assert not PracticeEntry.objects.exists()


def test_the_form_begins_with_the_day_of_the_zone_that_a_person_chose(cast, monkeypatch):
    now = datetime(2026, 12, 1, 22, 30, tzinfo=ZoneInfo("UTC"))
    NotificationTimes.objects.create(person=cast.pupil, time_zone="Pacific/Auckland")
    client = as_person(cast.pupil)
    monkeypatch.setattr(timezone, "now", lambda: now)
    assert 'value="2026-12-02"' in client.get(address(cast)).text


@pytest.mark.parametrize(
    ("zone", "day", "status"),
    [
        ("Pacific/Kiritimati", date(2026, 12, 2), 302),  # 14 hours ahead: it is tomorrow there
        ("Pacific/Pago_Pago", date(2026, 11, 30), 302),  # 11 hours behind: still yesterday
        ("UTC", date(2026, 12, 3), 422),  # where nobody is yet
    ],
)
def test_a_day_is_that_of_whoever_practised(cast, monkeypatch, zone, day, status):
    """Zones of the IANA time zone database; the studio's own is UTC here."""
    now = datetime(2026, 12, 1, 10, 30, tzinfo=ZoneInfo("UTC"))
    if status == 302:
        assert now.astimezone(ZoneInfo(zone)).date() == day
    monkeypatch.setattr(timezone, "now", lambda: now)
    client = as_person(cast.pupil)
    answer = client.post(address(cast), {"minutes": "15", "day": f"{day}"})
    assert answer.status_code == status
    if status == 302:
        assert PracticeEntry.objects.get().day == day
        shown = client.get(address(cast)).context["term"].picture
        assert sum(week.portions for week in shown.weeks) == 1


# -- the caution -----------------------------------------------------------------------------


def test_the_caution_is_said_at_once_to_whoever_noted_it(cast):
    for who, words in ((cast.pupil, "Stop playing now."), (cast.guardian, "Mira stops playing")):
        answer = noted(cast, who, hand="hurt")
        shown = as_person(who).get(answer["Location"]).text.split("<practice-note")[0]
        assert words in shown
        assert "What they say counts more than this page" in shown
        assert 'role="alert"' in shown


@pytest.mark.parametrize(("unbroken", "cautioned"), [("40", False), ("41", True)])
def test_a_childs_stretch_is_too_long_beyond_forty_minutes(cast, unbroken, cautioned):
    answer = noted(cast, minutes="60", unbroken_min=unbroken)
    shown = as_person(cast.pupil).get(answer["Location"]).context["caution"]
    assert bool(shown) is cautioned
    assert (cast.guardian.notifications.count(), cast.teacher.notifications.count()) == (
        (1, 1) if cautioned else (0, 0)
    )


def test_each_reads_it_in_her_own_words(cast):
    place, every = cast.enrolment, list(Reason)
    for reason in Reason:
        own, other = (" ".join(wording.caution([reason], area, place, False)) for area in AREAS)
        assert own != other
        assert "Mira" in other
        assert all("counts more than this page" in said for said in (own, other))
    assert wording.caution([], "pupil", place, False) == []
    assert wording.caution(every, "pupil", place, False)[0].startswith("Stop playing")
    assert f"After {CHILD.rest_after} minutes" in wording.how_lengths(CHILD)
    assert "not a standard" in wording.how_lengths(GROWN_UP)


AREAS = ("pupil", "guardian")


def test_a_child_who_reads_simply_finds_words_of_the_list(cast):
    place = cast.enrolment
    own = {name: value for name, value in vars(for_children).items() if name[0].isupper()}
    said = [str(value) for name, value in own.items() if name != "WORDS"]
    said += [text for one in Reason for text in wording.caution([one], "pupil", place, True)]
    said += [wording.rest_now(CHILD, True), wording.who_reads("pupil", place, True)]
    assert len(said) > 20
    assert [text for text in said if marks.too_hard(text, for_children.WORDS)] == []
    used = {word.strip(".,?").lower() for text in said for word in text.split()}
    assert for_children.WORDS - marks.WORDS - used == set(), "words that nothing says"
    Enrolment.objects.filter(pk=place.pk).update(reads_simply=True)
    shown = as_person(cast.pupil).get(address(cast)).text
    assert str(for_children.HAND) in shown
    assert "physiotherapist" not in shown


# -- who reads and changes what ---------------------------------------------------------------


def test_teacher_guardian_and_pupil_read_it_and_only_who_made_it_changes_it(cast):
    drill = set_for(cast.enrolment, make_drill(cast.teacher, cast.studio, "Octaves, slowly"))
    said = Practised(timezone.localdate(), 15, 10, "tired", "Slow thirds", drill)
    entry = services.note(cast.enrolment, cast.pupil, said)
    for who in (cast.pupil, cast.guardian, cast.teacher, cast.colleague):
        shown = as_person(who).get(address(cast)).text
        for words in ("Octaves, slowly", "Slow thirds", "tired", "10 min without a rest"):
            assert words in shown
        assert (f"/practice/{entry.pk}/" in shown) is (who == cast.pupil)
        assert ("<practice-note" in shown) is (who in (cast.pupil, cast.guardian))
    for page in (f"/pupils/{cast.enrolment.pk}/", f"/assignments/{drill.pk}/"):
        assert "Slow thirds" in as_person(cast.teacher).get(page).text
    assert "Slow thirds" in as_person(cast.guardian).get(f"/assignments/{drill.pk}/").text
    consent.withdraw(cast.enrolment, cast.guardian, consent.Purpose.RECORDINGS)
    for page in (address(cast), f"/pupils/{cast.enrolment.pk}/", f"/assignments/{drill.pk}/"):
        assert "Slow thirds" not in as_person(cast.teacher).get(page).text
    assert "Slow thirds" in as_person(cast.guardian).get(address(cast)).text


def test_an_entry_is_changed_and_taken_back(cast):
    entry = services.note(cast.enrolment, cast.pupil, Practised(timezone.localdate(), 15))
    client = as_person(cast.pupil)
    said = {"minutes": "25", "day": f"{entry.day}", "hand": "hurt"}
    answer = client.post(f"/practice/{entry.pk}/", said)
    assert answer["Location"].endswith(f"?noted={entry.pk}")
    entry.refresh_from_db()
    assert (entry.minutes, entry.hand) == (25, "hurt")
    assert client.get(answer["Location"]).context["caution"]
    client.post(f"/practice/{entry.pk}/delete/")
    assert not PracticeEntry.objects.exists()


def test_an_old_entry_keeps_its_day_when_it_is_changed(cast):
    long_ago = timezone.localdate() - timedelta(days=90)
    entry = services.note(cast.enrolment, cast.pupil, Practised(long_ago, 15))
    answer = as_person(cast.pupil).post(
        f"/practice/{entry.pk}/", {"minutes": "20", "day": f"{long_ago}"}
    )
    assert answer.status_code == 302


@pytest.mark.parametrize("until", ["0001-01-01", "9999-12-31", "2026-02-30", "", "soon"])
def test_weeks_that_cannot_be_asked_for_are_those_up_to_today(cast, until):
    shown = as_person(cast.teacher).get(f"{address(cast)}?until={until}").context["term"].picture
    assert shown.first <= timezone.localdate() <= shown.last


def test_earlier_weeks_are_led_to_where_there_are_any(cast):
    today = timezone.localdate()
    services.note(cast.enrolment, cast.pupil, Practised(today - timedelta(days=140), 15))
    first = as_person(cast.teacher).get(address(cast))
    assert first.context["term"].picture.weeks == ()
    earlier = as_person(cast.teacher).get(f"{address(cast)}?until={first.context['earlier']}")
    assert len(earlier.context["term"].picture.weeks) == 1
    assert earlier.context["earlier"] is None
    shown = earlier.context["term"].picture.last
    assert earlier.context["later"] == shown + timedelta(weeks=16) <= today


def test_home_leads_there_and_no_drill_of_another_place_can_be_named(cast):
    assert address(cast) in as_person(cast.pupil).get("/queue/").text
    assert address(cast) in as_person(cast.guardian).get(f"/children/{cast.enrolment.pk}/").text
    other = set_for(cast.other_enrolment, make_drill(cast.teacher, cast.studio))
    assert noted(cast, assignment=f"{other.pk}").status_code == 422
    assert as_person(cast.teacher).get(f"{address(cast)}?drill={other.pk}").status_code == 404


def test_after_the_lessons_it_can_be_read_at_home_and_not_noted(cast):
    services.note(cast.enrolment, cast.pupil, Practised(timezone.localdate(), 15, word="Slow"))
    Enrolment.objects.filter(pk=cast.enrolment.pk).update(ended_on=timezone.localdate())
    shown = as_person(cast.pupil).get(address(cast))
    assert "Slow" in shown.text
    assert "<practice-note" not in shown.text
    assert noted(cast).status_code == 404
    assert as_person(cast.teacher).get(address(cast)).status_code == 404


def test_no_page_asks_more_for_more_entries(cast, django_assert_max_num_queries):
    drill = set_for(cast.enrolment, make_drill(cast.teacher, cast.studio))
    pages = [
        *((cast.pupil, address(cast)), (cast.pupil, "/queue/")),
        (cast.pupil, f"/assignments/{drill.pk}/"),
        (cast.teacher, f"/pupils/{cast.enrolment.pk}/"),
    ]

    def asked(who, page) -> int:
        client = as_person(who)
        client.get(page)
        with django_assert_max_num_queries(80) as queries:
            client.get(page)
        return len(queries)

    def note(count: int) -> None:
        for back in range(count):
            day = timezone.localdate() - timedelta(days=back)
            services.note(cast.enrolment, cast.guardian, Practised(day, 15, assignment=drill))

    note(1)
    few = [asked(*each) for each in pages]
    note(5)
    assert [asked(*each) for each in pages] == few
