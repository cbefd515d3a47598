"""A child in two studios: what each knows, who lets her in, and who answers for her there.

Nothing of one studio reaches the other: not the guardian, not consent, not the instrument.
"""

import re
from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.utils import timezone

from studio.accounts import access, consent, guardians, services
from studio.accounts.models import Consent, Enrolment, GuardianLink, Instrument, Notice
from studio.clips.models import Stage
from studio.clips.processing import stages
from tests.cast import agree, as_person, enrol, guard, make_clip, make_return, person

NINE = 9


@pytest.fixture
def child(cast):
    """Mira is nine, has a guardian, and one studio."""
    cast.pupil.birth_year = timezone.localdate().year - NINE
    cast.pupil.save()
    cast.enrolment.refresh_from_db()
    return cast.pupil


@pytest.fixture
def both(cast, child) -> Enrolment:
    """Her place in the other studio, where her aunt answers for her."""
    aunt = person("Tove Sandholm", cast.other_studio, "guardian")
    guard(aunt, child, cast.other_studio)
    return enrol(child, cast.other_studio, cast.foreign_teacher, agreed_by=aunt)


def aunt_of(place: Enrolment):
    (aunt,) = guardians.of(place)
    return aunt


def invite_elsewhere(cast, **said) -> str:
    """The other studio's teacher invites Mira; the path of the link."""
    year = timezone.localdate().year - said.pop("age", NINE)
    said = {"name": "Mira", "email": cast.pupil.email, "birth_year": year} | said
    answer = as_person(cast.foreign_teacher).post("/people/invite/pupil/", said)
    return re.search(r"http://testserver(/invitation/[\w-]+/)", answer.text)[1]


def told(who) -> str:
    return " ".join(Notice.objects.filter(to=who).values_list("text", flat=True))


# -- a second place ------------------------------------------------------------------------


@pytest.mark.parametrize("age", [NINE, 40])  # what the invitation claims makes nobody older
def test_a_child_who_has_a_guardian_cannot_take_a_second_place_alone(cast, child, age):
    link = invite_elsewhere(cast, age=age)
    page = as_person(child).get(link)
    assert "Edda Sandholm has to accept" in page.text
    assert "<form" not in page.text.split("<main")[1]
    assert as_person(child).post(link).status_code == 403
    assert not access.enrolments_of(child).filter(studio=cast.other_studio).exists()


def test_so_it_is_where_the_age_is_not_known(cast):
    link = invite_elsewhere(cast, age=40)
    assert as_person(cast.pupil).post(link).status_code == 403


def test_her_guardian_accepts_and_answers_for_her_there_too(cast, child):
    link = invite_elsewhere(cast)
    guardian = as_person(cast.guardian)
    assert "Accept for Mira Sandholm" in guardian.get(link).text
    assert guardian.post(link).status_code == 302
    place = access.enrolments_of(child).get(studio=cast.other_studio)
    assert consent.deciders(place) == [cast.guardian]
    assert not consent.is_given(place), "accepting a place is no consent"
    assert guardian.get(f"/consent/{place.pk}/recordings/").status_code == 200
    assert as_person(child).get(link).status_code == 404, "once"
    assert "Another studio" in told(child)


@pytest.mark.parametrize("part", ["unlinked_guardian", "foreign_teacher", "other_pupil", "teacher"])
def test_nobody_else_accepts_for_a_child(cast, child, part):
    link, who = invite_elsewhere(cast), cast.people()[part]
    assert "Edda" not in as_person(who).get(link).text, "nor learns who answers for her"
    assert as_person(who).post(link).status_code == 403


def test_a_child_whose_guardian_was_taken_away_stays_where_she_is(cast, child):
    services.unlink_guardian(GuardianLink.objects.get(guardian=cast.guardian), cast.teacher)
    link = invite_elsewhere(cast)
    assert "none is linked" in as_person(child).get(link).text
    assert as_person(child).post(link).status_code == 403
    assert as_person(cast.guardian).post(link).status_code == 403


def test_a_grown_up_takes_a_second_place_alone(cast, child):
    child.birth_year = timezone.localdate().year - 30
    child.save()
    assert as_person(child).post(invite_elsewhere(cast)).status_code == 302


def test_another_studio_tells_no_age_of_a_child_with_a_guardian(cast):
    link = invite_elsewhere(cast, age=40)
    as_person(cast.guardian).post(link)
    cast.pupil.refresh_from_db()
    assert cast.pupil.birth_year is None
    assert consent.deciders(cast.enrolment) == [cast.guardian]


# -- each studio for itself ----------------------------------------------------------------


def test_no_teacher_reaches_the_link_of_another_studio(cast, child, both):
    elsewhere = as_person(cast.foreign_teacher)
    page = elsewhere.get("/people/").text
    assert "Tove Sandholm" in page
    assert "Edda Sandholm" not in page
    link = GuardianLink.objects.get(guardian=cast.guardian)
    assert elsewhere.post(f"/people/guardians/{link.pk}/end/").status_code == 404
    assert consent.deciders(cast.enrolment) == [cast.guardian]


def test_a_guardian_of_one_studio_sees_nothing_of_the_other(cast, both):
    aunt, guardian = as_person(aunt_of(both)), as_person(cast.guardian)
    here, there = make_clip(cast.enrolment, "Here"), make_clip(both, "There")
    make_return(here)
    make_return(there)
    for who, own, other, clip in (
        (guardian, cast.enrolment, both, there),
        (aunt, both, cast.enrolment, here),
    ):
        assert who.get(f"/children/{own.pk}/").status_code == 200
        for path in (
            f"/children/{other.pk}/",
            f"/consent/{other.pk}/",
            f"/consent/{other.pk}/recordings/",
            f"/clips/{clip.pk}/",
            f"/clips/{clip.pk}/media/",
        ):
            assert who.get(path).status_code == 404, path


def test_a_guardian_who_is_known_in_both_answers_only_where_she_is_linked(cast, both):
    """Of another child, that is: her membership alone opens nothing of Mira's."""
    cast.guardian.memberships.create(studio=cast.other_studio, role="guardian")
    guard(cast.guardian, cast.foreign_pupil, cast.other_studio)
    assert consent.deciders(both) == [aunt_of(both)]
    assert as_person(cast.guardian).get(f"/children/{both.pk}/").status_code == 404


def test_ending_a_link_in_one_studio_leaves_the_other_as_it_was(cast, both):
    link = GuardianLink.objects.get(pupil=cast.pupil, studio=cast.other_studio)
    services.unlink_guardian(link, cast.foreign_teacher)
    assert not consent.is_given(both)
    assert consent.is_given(cast.enrolment)
    assert told(cast.guardian) == "", "it is no business of the first studio's"
    assert told(cast.teacher) == ""


def test_an_instrument_belongs_to_one_studio(cast, both):
    services.change_instrument(both, "viola", 360.0)
    assert both.instrument().kind == "viola"
    assert cast.enrolment.instrument().kind == "violin"
    cast.foreign_teacher.memberships.create(studio=cast.studio, role="teacher")
    page = as_person(cast.foreign_teacher).get("/pupils/").text
    rows = [row for row in re.findall(r"<li>.*?</li>", page, re.S) if "Mira" in row]
    assert len(rows) == 2
    assert sum("viola, 360" in row for row in rows) == 1


def test_a_new_place_has_an_instrument_of_its_own(cast, child):
    Instrument.objects.filter(pupil=child).update(string_length_mm=270.0)
    as_person(cast.guardian).post(invite_elsewhere(cast))
    place = access.enrolments_of(child).get(studio=cast.other_studio)
    assert place.instrument().studio == cast.other_studio
    assert place.instrument().string_length_mm != 270.0


# -- when the last guardian goes -----------------------------------------------------------


def end_link(cast) -> None:
    link = GuardianLink.objects.get(guardian=cast.guardian)
    as_person(cast.teacher).post(f"/people/guardians/{link.pk}/end/")


def test_consent_rests_when_the_last_guardian_goes_and_nothing_is_deleted(cast, child):
    clip = make_clip(cast.enrolment)
    end_link(cast)
    assert not consent.is_given(cast.enrolment)
    page = as_person(cast.teacher).get(f"/clips/{clip.pk}/")
    assert page.status_code == 403
    assert "nobody who answers for Mira Sandholm" in page.text
    assert "nothing was deleted" in page.text
    sent = as_person(child).get("/send/")
    assert sent.status_code == 403
    assert "Ask your teacher to link one" in sent.text
    clip.stages.update(state=Stage.State.WAITING)
    assert stages.claim(clip.pk, Stage.Kind.LISTENING) is None
    assert as_person(child).get(f"/clips/{clip.pk}/media/").status_code == 404  # no file here
    assert Consent.objects.get(pupil=child).withdrawn_at is None, (
        "nobody withdrew it, and the record says so"
    )


def test_whoever_is_concerned_is_told_in_plain_words(cast, child):
    said = as_person(cast.teacher).get(
        f"/people/guardians/{GuardianLink.objects.get(guardian=cast.guardian).pk}/end/"
    )
    assert "no clip can be watched or sent" in said.text
    end_link(cast)
    for who in (child, cast.guardian, cast.teacher, cast.colleague):
        assert "consent" in told(who).lower(), who
        assert "Ottilie Brandt" in told(who)
        assert "deleted" in told(who)
    assert "whoever runs the studio’s machine" in told(cast.guardian)
    page = as_person(child).get(f"/consent/{cast.enrolment.pk}/").text
    assert "<b>Rests</b> since" in page


def test_a_new_guardian_has_to_agree_anew(cast, child):
    end_link(cast)
    father = person("Nils Sandholm", cast.studio, "guardian")
    services.link_guardian(father, child, cast.studio, cast.teacher)
    assert not consent.is_given(cast.enrolment), "what another gave is not taken up by itself"
    mark = consent.standing(cast.enrolment).mark
    consent.give(cast.enrolment, father, "recordings", mark)
    assert consent.is_given(cast.enrolment)
    first, second = consent.standing(cast.enrolment).history
    assert (first.given_by, second.given_by) == (cast.guardian, father)
    assert consent.withdraw(cast.enrolment, father, "recordings") == 2
    assert not consent.is_given(cast.enrolment)


def test_consent_goes_on_while_another_guardian_is_there_who_is_told(cast, child):
    father = person("Nils Sandholm", cast.studio, "guardian")
    services.link_guardian(father, child, cast.studio, cast.teacher)
    assert "Nils Sandholm" in told(cast.guardian), "a guardian learns of a new one"
    end_link(cast)
    assert consent.is_given(cast.enrolment)
    assert "no longer answers for Mira Sandholm" in told(father)


def test_what_a_pupil_of_unknown_age_agreed_to_herself_goes_on(cast):
    Consent.objects.filter(pupil=cast.pupil).delete()
    agree(cast.pupil, cast.studio)
    end_link(cast)
    assert consent.is_given(cast.enrolment)


def test_what_a_guardian_agreed_to_rests_where_the_age_is_not_known_either(cast):
    end_link(cast)
    assert not consent.is_given(cast.enrolment)
    mark = consent.standing(cast.enrolment).mark
    consent.give(cast.enrolment, cast.pupil, "recordings", mark)
    assert consent.is_given(cast.enrolment), "with no guardian she decides alone"


@pytest.mark.parametrize("gone", ["account", "membership"])
def test_a_guardian_who_cannot_come_any_more_answers_no_more(cast, child, gone):
    if gone == "account":
        type(child).objects.filter(pk=cast.guardian.pk).update(is_active=False)
    else:
        cast.guardian.memberships.update(ended_on=timezone.localdate())
    assert not consent.is_given(cast.enrolment)


def test_a_newcomer_takes_up_no_consent_of_somebody_who_is_gone(cast, child):
    type(child).objects.filter(pk=cast.guardian.pk).update(is_active=False)
    father = person("Nils Sandholm", cast.studio, "guardian")
    services.link_guardian(father, child, cast.studio, cast.teacher)
    assert not consent.is_given(cast.enrolment)


def test_a_pupil_who_grew_up_keeps_what_was_agreed_to(cast, child):
    child.birth_year = timezone.localdate().year - 20
    child.save()
    cast.enrolment.refresh_from_db()
    end_link(cast)
    assert consent.is_given(cast.enrolment)
    assert consent.deciders(cast.enrolment) == [child]


# -- a teacher who is a guardian -----------------------------------------------------------


@pytest.fixture
def parent(cast, child):
    """The colleague teaches here, and invites herself as Mira's guardian."""
    cast.colleague.memberships.create(studio=cast.studio, role="guardian")
    guard(cast.colleague, child, cast.studio)
    return cast.colleague


def test_a_teacher_of_the_studio_does_not_consent_for_its_pupil(cast, parent):
    assert consent.deciders(cast.enrolment) == [cast.guardian]
    consent.withdraw(cast.enrolment, cast.guardian, "recordings")
    browser, path = as_person(parent), f"/consent/{cast.enrolment.pk}/recordings/"
    assert browser.get(path).status_code == 404
    said = {"choice": "give", "mark": consent.standing(cast.enrolment).mark}
    assert browser.post(path, said).status_code == 404
    assert browser.get(f"/children/{cast.enrolment.pk}/").status_code == 200, "she sees her child"
    page = as_person(cast.teacher).get("/people/").text
    assert "teaches here, and so does not decide about consent" in page


def test_nor_does_she_keep_a_consent_standing_when_the_guardian_goes(cast, parent):
    end_link(cast)
    assert not consent.is_given(cast.enrolment)
    assert consent.deciders(cast.enrolment) == []


def test_nor_does_she_accept_a_second_place_for_the_child(cast, parent):
    assert as_person(parent).post(invite_elsewhere(cast)).status_code == 403


def confirm(*said: str) -> str:
    out = StringIO()
    call_command("confirm_guardian", *said, stdout=out)
    return out.getvalue()


def test_whoever_runs_the_machine_confirms_a_teachers_own_child(cast, parent):
    assert "decides about consent" in confirm(parent.email, cast.pupil.email)
    assert consent.deciders(cast.enrolment) == [parent, cast.guardian]
    assert "Colleague" in told(cast.guardian)
    end_link(cast)
    assert consent.is_given(cast.enrolment)


def test_a_confirmation_is_no_consent(cast, parent):
    end_link(cast)
    confirm(parent.email, cast.pupil.email)
    assert not consent.is_given(cast.enrolment)
    consent.give(cast.enrolment, parent, "recordings", consent.standing(cast.enrolment).mark)
    assert consent.is_given(cast.enrolment)


def test_a_confirmation_ends_with_its_link(cast, parent):
    confirm(parent.email, cast.pupil.email)
    mine = GuardianLink.objects.get(guardian=parent)
    services.unlink_guardian(mine, cast.teacher)
    services.link_guardian(parent, cast.pupil, cast.studio, cast.teacher)
    assert consent.deciders(cast.enrolment) == [cast.guardian]


@pytest.mark.parametrize(
    ("guardian", "pupil", "sentence"),
    [
        ("nobody@nowhere.example", "{pupil}", "Nobody logs in with"),
        ("{teacher}", "{pupil}", "is not linked"),
    ],
)
def test_a_confirmation_of_what_is_not_there_is_refused(cast, guardian, pupil, sentence):
    names = {"teacher": cast.teacher.email, "pupil": cast.pupil.email}
    with pytest.raises(CommandError, match=sentence):
        confirm(guardian.format(**names), pupil.format(**names))


def test_a_confirmation_names_the_studio_where_there_are_two(cast, both):
    link = {"guardian": aunt_of(both), "pupil": cast.pupil}
    aunt_of(both).memberships.create(studio=cast.studio, role="guardian")
    GuardianLink.objects.create(**link, studio=cast.studio)
    with pytest.raises(CommandError, match="--studio"):
        confirm(link["guardian"].email, cast.pupil.email)
    confirm(link["guardian"].email, cast.pupil.email, "--studio", "Another studio")
    confirmed = GuardianLink.objects.exclude(confirmed_at=None)
    assert [one.studio for one in confirmed] == [cast.other_studio]
