"""A name with a line break is refused, and one from before stops no letter."""

import pytest
from django.core.management import CommandError, call_command

from studio.accounts import letters, tasks
from studio.accounts.models import Letter, Person
from studio.accounts.names import SENTENCE, in_one_line, is_one_line
from tests.accounts.test_letters import mail  # noqa: F401
from tests.cast import as_person

pytestmark = pytest.mark.django_db
BROKEN = "Mira\r\nBcc: everybody@s.example"


@pytest.mark.parametrize("letter", ["\n", "\r", "\x00", "\t", "\x0b", "\u2028", "\u2029", "\x85"])
def test_what_ends_a_line_is_found(letter):
    assert not is_one_line(f"Mira{letter}Sandholm")
    assert in_one_line(f"Mira{letter}Sandholm ") == "Mira Sandholm"


@pytest.mark.parametrize("name", ["Mira Sandholm", "Zoë-Ann O’Hara", "李 小龍", "محمد", "न\u200dम"])
def test_names_of_all_languages_are_names(name):
    assert is_one_line(name)
    assert in_one_line(name) == name


def test_it_is_refused_wherever_a_name_is_typed(cast):
    teacher, pupil = as_person(cast.teacher), as_person(cast.pupil)
    said = {"name": BROKEN, "email": "runa@s.example", "birth_year": "2001"}
    answer = teacher.post("/people/invite/pupil/", said)
    assert (answer.status_code, SENTENCE in answer.text) == (422, True)
    answer = pupil.post("/account/name/", {"name": BROKEN})
    assert (answer.status_code, SENTENCE in answer.text) == (422, True)
    cast.pupil.refresh_from_db()
    assert cast.pupil.name == "Mira Sandholm"
    for names in ((BROKEN, "Ottilie"), ("A studio", BROKEN)):
        with pytest.raises(CommandError, match="one line"):
            call_command("add_studio", names[0], teacher_name=names[1], teacher_email="o@s.example")


def test_a_name_from_before_stops_no_letter(cast, mail):  # noqa: F811
    Person.objects.filter(pk=cast.teacher.pk).update(name=BROKEN)
    cast.teacher.refresh_from_db()
    Letter.objects.create(kind="answer", to="a@s.example", subject=f"From {BROKEN}", body="Old.")
    letters.post_answer(cast.pupil, cast.teacher, cast.pupil, "https://studio.example/")
    letters._post("invitation", "bad\n@s.example", "S", "Its address cannot be written.")
    letters._post("invitation", "r@s.example", "S", "The last of them.")
    tasks.send_letters()
    assert [letter.to for letter in mail] == [["a@s.example"], [cast.pupil.email], ["r@s.example"]]
    assert mail[0].subject == "From Mira Bcc: everybody@s.example"
    assert mail[1].subject == "An answer from Mira Bcc: everybody@s.example"
