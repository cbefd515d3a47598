"""How long what is kept: a studio's times, what was agreed to, and which of them holds.

Regulation (EU) 2016/679, article 5(1)(e) (kept no longer than necessary), article 7 (consent is to
what was said) and article 13(2)(a) (the period is told). The times on offer are chosen, no source.
"""

from datetime import date

import pytest
from django.utils import timezone

from studio.accounts import consent, families, invitations, lesson_endings, retention
from studio.accounts import retention_settings as settings_of
from studio.accounts.families import ChildNamed, ChildTaken
from studio.accounts.models import Consent, Notice, RetentionTerms
from studio.accounts.retention import UNTIL_ERASED, WITH_RECORDING, NotTogether, Terms
from studio.accounts.retention_words import SPANS, lines_of
from tests.cast import as_person

RECORDINGS = consent.Purpose.RECORDINGS
YEAR = Terms(recordings=365, figures=None, drills=730, after_end=365)


def page(cast, who) -> str:
    return as_person(who).get(f"/consent/{cast.enrolment.pk}/").text


def agree_anew(cast, who):
    mark = consent.standing(cast.enrolment).mark
    return as_person(who).post(
        f"/consent/{cast.enrolment.pk}/recordings/", {"choice": "anew", "mark": mark}
    )


# -- which times hold ----------------------------------------------------------------------


def test_without_times_of_its_own_a_studio_keeps_until_it_is_erased(cast):
    assert retention.of_studio(cast.studio) == retention.holding(cast.enrolment) == UNTIL_ERASED
    assert not any("goes on the first day" in line for line in lines_of(UNTIL_ERASED))


def test_who_agreed_to_less_keeps_it_until_she_agrees_to_more(cast):
    """Figures that outlast the recording were not in the first words: then they go with it."""
    settings_of.change(cast.studio, YEAR, by=cast.teacher)
    assert retention.holding(cast.enrolment) == Terms(365, WITH_RECORDING, 730, 365)
    assert consent.is_given(cast.enrolment)
    agree_anew(cast, cast.guardian)
    assert retention.holding(cast.enrolment) == YEAR
    first, second = Consent.objects.filter(pupil=cast.pupil)
    assert first.superseded_at is not None
    assert (first.terms, second.terms) == (None, RetentionTerms.objects.get())
    assert consent.standing(cast.enrolment).given == second


def test_shorter_times_hold_for_everybody_at_once_and_ask_nobody(cast):
    settings_of.change(cast.studio, YEAR, by=cast.teacher)
    agree_anew(cast, cast.guardian)
    less = Terms(92, WITH_RECORDING, 730, 365)
    settings_of.change(cast.studio, less, by=cast.teacher)
    assert retention.holding(cast.enrolment) == less
    assert "Agree to the new times" not in page(cast, cast.guardian)


def test_the_times_of_a_withdrawn_consent_go_on_to_hold(cast):
    settings_of.change(cast.studio, Terms(92))
    agree_anew(cast, cast.guardian)
    Consent.objects.update(terms=RetentionTerms.objects.get())
    consent.withdraw(cast.enrolment, cast.guardian, RECORDINGS)
    settings_of.change(cast.studio, Terms(1826))
    assert retention.holding(cast.enrolment).recordings == 92


def test_only_who_decides_agrees_anew_and_an_old_page_does_not(cast):
    settings_of.change(cast.studio, YEAR)
    assert agree_anew(cast, cast.pupil).status_code == 404
    assert "goes on to hold:" in page(cast, cast.pupil)
    at = f"/consent/{cast.enrolment.pk}/recordings/"
    old = as_person(cast.guardian).post(at, {"choice": "anew", "mark": "0"})
    assert old.status_code == 409
    assert Consent.objects.filter(pupil=cast.pupil).count() == 1


@pytest.mark.parametrize("terms", [Terms(365, 92), Terms(None, 365)])
def test_what_was_said_does_not_go_before_its_recording(cast, terms):
    with pytest.raises(NotTogether, match="cannot go before"):
        settings_of.change(cast.studio, terms)
    assert not RetentionTerms.objects.exists()


def test_the_same_times_again_are_no_change_and_tell_nobody(cast):
    settings_of.change(cast.studio, YEAR, by=cast.teacher)
    told = Notice.objects.count()
    assert {notice.to for notice in Notice.objects.all()} >= {cast.pupil, cast.guardian}
    settings_of.change(cast.studio, YEAR, by=cast.colleague)
    assert (RetentionTerms.objects.count(), Notice.objects.count()) == (1, told)


@pytest.mark.parametrize(
    ("due", "told", "goes"),
    [
        (date(2027, 1, 1), date(2026, 12, 4), date(2027, 1, 1)),  # 28 days
        (date(2027, 1, 2), date(2026, 12, 4), date(2027, 2, 1)),
        (date(2026, 1, 1), date(2026, 12, 5), date(2027, 2, 1)),  # long due, told only now
        (date(2026, 12, 31), date(2026, 12, 1), date(2027, 1, 1)),
    ],
)
def test_things_go_on_the_first_of_a_month_28_days_after_they_were_said(due, told, goes):
    assert retention.goes_on(due, told) == goes


# -- what is said --------------------------------------------------------------------------


def test_consent_says_the_times_that_hold_and_asks_for_those_that_are_longer(cast):
    settings_of.change(cast.studio, YEAR)
    shown = page(cast, cast.guardian)
    for line in (*lines_of(YEAR), *lines_of(retention.holding(cast.enrolment))):
        assert line in shown
    agree_anew(cast, cast.guardian)
    shown = page(cast, cast.guardian)
    assert "figures and words without the sound" in shown
    assert "as long as the recording" not in shown


def test_what_was_agreed_to_is_read_again_with_its_own_times(cast):
    settings_of.change(cast.studio, YEAR)
    agree_anew(cast, cast.guardian)
    settings_of.change(cast.studio, Terms(92))
    given = consent.standing(cast.enrolment).given
    again = as_person(cast.guardian).get(
        f"/consent/{cast.enrolment.pk}/?wording={given.version}&given={given.pk}"
    )
    assert "for a year after they were sent" in again.text.partition('id="wording"')[2]


@pytest.mark.parametrize("days", SPANS)
def test_each_span_on_offer_is_as_long_as_it_reads(days):
    """A year has 365 days or 366; of months the longest way round (92 days, 183)."""
    words = SPANS[days]
    years = {"a year": 1, "two years": 2, "three years": 3, "five years": 5}.get(words)
    months = {"three months": 3, "half a year": 6}.get(words, 12 * (years or 0))
    starts = [date(2023 + month // 12, month % 12 + 1, 1) for month in range(48)]
    spans = [_months_later(start, months) - start for start in starts]
    assert min(spans).days <= days <= max(spans).days


def _months_later(start: date, months: int) -> date:
    over = start.month - 1 + months
    return start.replace(year=start.year + over // 12, month=over % 12 + 1)


# -- lessons that begin anew ---------------------------------------------------------------


def test_who_comes_back_after_lessons_ended_is_asked_anew(cast):
    lesson_endings.end_lessons(cast.enrolment, cast.teacher)
    invitation, _ = invitations.invite(
        cast.studio, "pupil", cast.pupil.name, "mira@x.example", by=cast.teacher
    )
    invitations.accept(invitation, person=cast.pupil)
    place = cast.pupil.enrolments.get(ended_on=None)
    assert place != cast.enrolment
    standing = consent.standing(place)
    assert (standing.given, standing.began_anew, standing.rests) == (None, True, False)
    assert "was for the lessons that ended" in consent.cannot_watch(place)
    shown = as_person(cast.guardian).get(f"/consent/{place.pk}/").text
    assert "What was agreed to was for the lessons that ended." in shown
    consent.give(place, cast.guardian, RECORDINGS, standing.mark)
    assert consent.is_given(place)


@pytest.mark.parametrize("agrees", [True, False])
def test_a_family_that_comes_back_agrees_anew_with_the_invitation(cast, agrees):
    lesson_endings.end_lessons(cast.enrolment, cast.teacher)
    child = ChildNamed(cast.pupil.name, timezone.localdate().year - 9)
    invitation, _ = families.invite(
        cast.studio, cast.guardian.name, cast.guardian.email, [child], cast.teacher
    )
    taken = ChildTaken(
        invitation.children.get(), cast.pupil.name, agrees=agrees, already=cast.pupil
    )
    arrival = families.accept(invitation, [taken], person=cast.guardian)
    (place,) = arrival.places
    assert (place.pupil, place.pk != cast.enrolment.pk) == (cast.pupil, True)
    assert consent.is_given(place) is agrees
    assert consent.standing(place).began_anew is not agrees
