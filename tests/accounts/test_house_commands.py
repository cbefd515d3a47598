"""The operator's commands about lessons, teachers and studios: first said, then done with --yes."""

from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from studio.accounts import audit, handing_over
from studio.accounts.models import Enrolment, LessonsEnd, Membership, Notice
from tests.cast import enrol


def run(*words: str) -> str:
    out = StringIO()
    call_command(*words, stdout=out)
    return out.getvalue()


def is_open(place: Enrolment) -> bool:
    return Enrolment.objects.filter(pk=place.pk, ended_on=None).exists()


@pytest.mark.parametrize("named", ["mira.sandholm@pupil.example", "Mira Sandholm"])
def test_lessons_end_only_with_yes(cast, named):
    said = run("end_lessons", named)
    assert "can go on reading what came back" in said
    assert "Add --yes" in said
    assert is_open(cast.enrolment)
    assert "have ended" in run("end_lessons", named, "--yes")
    assert not is_open(cast.enrolment)
    assert Notice.objects.filter(to=cast.guardian, text__contains="lessons of Mira").exists()
    assert LessonsEnd.objects.get().side == "studio"


def test_an_end_is_taken_back(cast):
    run("end_lessons", "Mira Sandholm", "--for-family", "--yes")
    assert "would go on" in run("end_lessons", "Mira Sandholm", "--take-back")
    assert not is_open(cast.enrolment)
    run("end_lessons", "Mira Sandholm", "--take-back", "--yes")
    assert is_open(cast.enrolment)
    with pytest.raises(CommandError, match="no such lessons"):
        run("end_lessons", "Mira Sandholm", "--take-back", "--yes")


def test_an_error_says_what_to_do(cast):
    with pytest.raises(CommandError, match="Look at it once more"):
        run("end_lessons", "nobody@n.example")
    with pytest.raises(CommandError, match="There is no studio 'Nowhere'"):
        run("end_lessons", "Mira Sandholm", "--studio", "Nowhere")
    enrol(cast.pupil, cast.other_studio, cast.foreign_teacher)
    with pytest.raises(CommandError, match='Say which: --studio "Larkhill strings" or --studio "A'):
        run("end_lessons", "Mira Sandholm")
    run("end_lessons", "Mira Sandholm", "--studio", "Larkhill strings", "--yes")
    assert not is_open(cast.enrolment)


def test_pupils_are_handed_over(cast):
    words = ("hand_over_pupils", cast.teacher.email, "--to", cast.colleague.email)
    assert "Mira Sandholm, from Ottilie Brandt to Colleague" in run(*words)
    run(*words, "--pupil", "Mira Sandholm", "--yes")
    teachers = Enrolment.objects.filter(studio=cast.studio, ended_on=None)
    assert set(teachers.values_list("pupil__name", "teacher__name")) == {
        ("Mira Sandholm", "Colleague"),
        ("Jonas Weidegger", "Ottilie Brandt"),
    }
    assert "Handed over to Colleague: 1" in run(*words, "--yes")
    with pytest.raises(CommandError, match="the same teacher"):
        run("hand_over_pupils", cast.teacher.email, "--to", cast.teacher.email)
    with pytest.raises(CommandError, match="Nobody who logs in with"):
        run("hand_over_pupils", cast.teacher.email, "--to", cast.foreign_teacher.email)


def test_a_teacher_s_place_ends(cast):
    teacher, colleague = cast.teacher.email, cast.colleague.email
    with pytest.raises(CommandError, match="Let the studio be handed over"):
        run("end_teacher", teacher, "--yes")
    run("owner", colleague)
    assert "nobody yet: give --to" in run("end_teacher", teacher)
    with pytest.raises(CommandError, match="would be without a teacher"):
        run("end_teacher", teacher, "--yes")
    assert "Pupils handed over: 2" in run("end_teacher", teacher, "--to", colleague, "--yes")
    assert Membership.objects.get(person=cast.teacher).ended_on is not None


def test_the_operator_makes_an_owner_and_the_teachers_are_told(cast):
    assert "now the owner" in run("owner", cast.colleague.email)
    assert [one.person for one in audit.owners(cast.studio)] == [cast.colleague]
    assert Notice.objects.filter(to=cast.teacher, text__contains="Colleague owns").exists()


def test_a_studio_closes(cast):
    with pytest.raises(CommandError, match="Hand it over"):
        run("close_studio", "Larkhill strings", "--yes")
    handing_over.end_membership(Membership.objects.get(person=cast.colleague))
    assert "The lessons of Mira Sandholm end" in run("close_studio", "Larkhill strings")
    assert is_open(cast.enrolment)
    assert "Lessons ended: 2" in run("close_studio", "Larkhill strings", "--yes")
