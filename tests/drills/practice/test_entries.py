"""Practice is noted, each press once, by whoever may, and told where a hand is to rest."""

from datetime import date, timedelta

import pytest
from django.db import IntegrityError, transaction
from django.utils import timezone

from studio.accounts import consent, personal_data
from studio.accounts.consent import ConsentMissing
from studio.accounts.models import Notification, Person
from studio.drills.models import PracticeEntry
from studio.drills.practice import access, cautions, services
from studio.drills.practice.services import MOST_A_DAY, Practised, TooMany
from studio.rights.erasure import rows
from tests.cast import make_drill, set_for

DAY = date(2026, 12, 2)


def noted(cast, minutes=15, key="", by=None, **says) -> PracticeEntry:
    said = Practised(says.pop("day", DAY), minutes, **says)
    return services.note(cast.enrolment, by or cast.pupil, said, key)


def test_a_press_that_comes_twice_is_noted_once(cast):
    first = noted(cast, key="a press")
    assert noted(cast, minutes=99, key="a press") == first
    first.refresh_from_db()
    assert first.minutes == 15
    noted(cast, key="a press", by=cast.guardian)  # another person's keys are her own
    assert services.note(cast.other_enrolment, cast.pupil, Practised(DAY, 5), "a press") == first
    noted(cast)
    noted(cast)  # without script each is a press of its own
    assert PracticeEntry.objects.count() == 4


def test_the_database_holds_the_bounds(cast):
    for wrong in ({"minutes": 0}, {"minutes": 241}, {"minutes": 10, "unbroken_min": 11}):
        with pytest.raises(IntegrityError), transaction.atomic():
            PracticeEntry.objects.create(
                enrolment=cast.enrolment, made_by=cast.pupil, day=DAY, **wrong
            )
    noted(cast, minutes=240, unbroken_min=240)
    noted(cast, minutes=1, unbroken_min=1)


def test_without_consent_nothing_is_noted_and_the_teacher_reads_nothing(cast):
    entry = noted(cast)
    assert access.shown_to(cast.teacher, cast.enrolment)
    consent.withdraw(cast.enrolment, cast.guardian, consent.Purpose.RECORDINGS)
    with pytest.raises(ConsentMissing):
        noted(cast)
    with pytest.raises(ConsentMissing):
        services.change(entry, Practised(DAY, 20))
    assert not access.shown_to(cast.teacher, cast.enrolment)
    assert access.shown_to(cast.pupil, cast.enrolment)
    assert access.shown_to(cast.guardian, cast.enrolment)
    services.remove(entry)  # less can be kept at any time
    assert not PracticeEntry.objects.exists()


def test_a_day_takes_so_many_entries_and_says_so(cast):
    for _ in range(MOST_A_DAY):
        noted(cast)
    with pytest.raises(TooMany, match=f"{MOST_A_DAY} entries"):
        noted(cast)
    noted(cast, day=DAY - timedelta(days=1))


def test_entries_of_gives_days_from_and_to_the_newest_first(cast, django_assert_num_queries):
    drill = set_for(cast.enrolment, make_drill(cast.teacher, cast.studio))
    for day in (1, 2, 3, 4):
        noted(cast, day=date(2026, 12, day), assignment=drill)
    services.note(cast.other_enrolment, cast.other_pupil, Practised(DAY, 5))
    with django_assert_num_queries(1):
        found = list(access.entries_of(cast.enrolment, date(2026, 12, 2), date(2026, 12, 3)))
        said = [(one.day.day, one.assignment.version.title, one.made_by.name) for one in found]
    assert said == [
        (3, "Octaves, slowly", "Mira Sandholm"),
        (2, "Octaves, slowly", "Mira Sandholm"),
    ]


# -- the caution -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("birth_year", "bound"), [(1980, 60), (None, 40), (timezone.localdate().year - 10, 40)]
)
def test_the_caution_begins_beyond_the_bound_and_not_at_it(cast, birth_year, bound):
    """The bounds are this project's choice, no standard."""
    lengths = cautions.lengths_of(consent.is_grown_up(Person(birth_year=birth_year)))
    assert lengths.long == bound
    assert cautions.reasons(bound, False, lengths) == ()
    assert cautions.reasons(bound + 1, False, lengths) == ("long",)
    assert cautions.reasons(None, True, lengths) == ("hurt",)
    assert lengths.rest_after < lengths.long


def told(who: Person) -> int:
    return who.notifications.filter(kind="caution").count()


def test_teacher_and_guardian_are_told_once_a_day_and_not_of_what(cast, caplog):
    said = {"hand": "hurt", "word": "my left thumb"}
    noted(cast, **said, key="one")
    noted(cast, **said, key="one")
    noted(cast, minutes=90, unbroken_min=41)
    people = (cast.teacher, cast.guardian, cast.pupil, cast.colleague)
    assert [told(one) for one in people] == [1, 1, 0, 0]
    kept = Notification.objects.values_list("what", "path", "key")
    left = [caplog.text, *(text for row in kept for text in row)]
    assert not [text for text in left if "thumb" in text or "hurt" in text]
    noted(cast, **said, day=DAY + timedelta(days=1))
    assert [told(one) for one in people] == [2, 2, 0, 0]


def test_who_noted_it_is_not_told_and_a_deleted_entry_is_not_told_twice(cast):
    entry = noted(cast, hand="hurt", by=cast.guardian)
    assert (told(cast.guardian), told(cast.teacher)) == (0, 1)
    services.remove(entry)
    noted(cast, hand="hurt", by=cast.guardian)
    assert (told(cast.guardian), told(cast.teacher)) == (0, 1)


def test_what_is_changed_to_a_hurting_hand_is_told_too(cast):
    entry = noted(cast, hand="tired", unbroken_min=15)
    assert told(cast.teacher) == 0
    services.change(entry, Practised(DAY, 15, hand="hurt"))
    entry.refresh_from_db()
    assert (entry.hand, entry.unbroken_min) == ("hurt", None)
    assert (told(cast.teacher), told(cast.guardian)) == (1, 1)


# -- whose it is -----------------------------------------------------------------------------


def test_the_pupil_has_it_in_her_copy_and_it_goes_with_her_lessons(cast):
    noted(cast, hand="tired", word="slow thirds", by=cast.guardian)
    noted(cast, hand="hurt")
    answer = personal_data.answer_of(PracticeEntry)
    row = answer.export.row(answer.exported(cast.pupil, cast.studio).order_by("pk").first())
    assert (row["minutes"], row["hand"], row["word"]) == (15, "tired", "slow thirds")
    assert (row["day"], row["made_by"]) == ("2026-12-02", "Edda Sandholm")
    assert not answer.exported(cast.guardian, cast.studio).exists()
    rows.erase_lessons(cast.pupil, cast.studio)
    assert not PracticeEntry.objects.exists()


def test_minutes_stay_when_their_drill_goes(cast):
    drill = set_for(cast.enrolment, make_drill(cast.teacher, cast.studio))
    entry = noted(cast, assignment=drill)
    rows.erase_drills([drill.pk])
    entry.refresh_from_db()
    assert (entry.assignment, entry.minutes) == (None, 15)
