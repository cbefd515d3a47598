"""A name with a line break is refused, is never stored, and one from before stops no letter."""

import pytest
from django.apps import apps
from django.core.management import CommandError, call_command
from django.db import connection, transaction

from studio.accounts import invitations, letters, tasks
from studio.accounts.models import Letter, Person, Studio
from studio.accounts.names import SENTENCE, OneLineField, in_one_line, is_one_line
from studio.clips import services as clips
from studio.clips.models import Clip
from studio.drills import services as drills
from studio.drills.models import Drill, DrillVersion
from studio.drills.reading import services as readings
from studio.drills.reading.models import ScoreReading
from tests.accounts.mailbox import mail  # noqa: F401
from tests.cast import PASSWORD, as_person, make_clip

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
    with connection.cursor() as cursor:  # past the model, which takes none any more
        said = [BROKEN, cast.teacher.pk]
        cursor.execute("UPDATE accounts_person SET name = %s WHERE id = %s", said)
    cast.teacher.refresh_from_db()
    assert cast.teacher.name == BROKEN
    Letter.objects.create(kind="answer", to="a@s.example", subject=f"From {BROKEN}", body="Old.")
    letters.post_of_lessons(cast.pupil, f"An answer from {cast.teacher}", "It is there.", ["set"])
    letters._post("invitation", "bad\n@s.example", "S", "Its address cannot be written.")
    letters._post("invitation", "r@s.example", "S", "The last of them.")
    tasks.send_letters()
    assert [letter.to for letter in mail] == [["a@s.example"], [cast.pupil.email], ["r@s.example"]]
    assert mail[0].subject == "From Mira Bcc: everybody@s.example"
    assert mail[1].subject == "An answer from Mira Bcc: everybody@s.example"


# -- whoever writes it -----------------------------------------------------------------------------

ONE_LINE = "Mira Bcc: everybody@s.example"
# Of processes, which no person gives; and of a child's log-in, of letters, digits and dots.
NAMES_OF_OUR_OWN = {"workers.Worker.name", "accounts.Person.login_name"}


def test_every_column_for_a_name_or_a_title_holds_one_line():
    """A new one is found here."""
    columns = {
        f"{field.model._meta.label}.{field.name}": field
        for model in apps.get_models()
        if model.__module__.startswith("studio.")
        for field in model._meta.fields
        if field.name in ("name", "title", "filename") or field.name.endswith("_name")
    }
    assert len(columns) >= 8
    plain = {name for name, field in columns.items() if not isinstance(field, OneLineField)}
    assert plain == NAMES_OF_OUR_OWN


def test_however_a_row_is_written_its_name_is_one_line(cast):
    saved = Studio(name=BROKEN)
    saved.save()
    assert saved.name == ONE_LINE
    (made,) = Studio.objects.bulk_create([Studio(name=BROKEN)])
    Person.objects.filter(pk=cast.pupil.pk).update(name=BROKEN)
    cast.teacher.name = BROKEN
    Person.objects.bulk_update([cast.teacher], ["name"])
    for row in (saved, made, cast.pupil, cast.teacher):
        row.refresh_from_db()
        assert row.name == ONE_LINE
    cast.pupil.name = "Mira  Sandholm"  # what is one line already stays as it is
    cast.pupil.save()
    cast.pupil.refresh_from_db()
    assert cast.pupil.name == "Mira  Sandholm"


def test_no_service_or_command_writes_another_line(cast, monkeypatch):
    invited, _ = invitations.invite(cast.studio, "pupil", BROKEN, "r@n.example", by=cast.teacher)
    invited.refresh_from_db()
    assert invited.name == ONE_LINE
    person = invitations.accept(invited, BROKEN, PASSWORD)
    person.refresh_from_db()
    assert person.name == ONE_LINE
    clip = make_clip(cast.enrolment)
    clips.say_anew(clip, BROKEN, "a note\nof two lines", "")
    clip.refresh_from_db()
    assert (clip.title, clip.note) == (ONE_LINE, "a note\nof two lines")
    drill = drills.add_drill(cast.studio, cast.teacher, title=BROKEN, words="Slowly")
    assert DrillVersion.objects.get(drill=drill).title == ONE_LINE
    with transaction.atomic():  # pressed twice is once, by any title
        twice = [
            drills.add_drill_once(cast.studio, cast.teacher, title=BROKEN, words="Pressed twice")
            for _ in range(2)
        ]
    assert twice[0] == twice[1]
    monkeypatch.setattr(readings, "dispatch", lambda pk: True)
    readings.begin(cast.studio, cast.teacher, "a\nb.mxl", b"", "")
    assert ScoreReading.objects.get().filename == "a b.mxl"
    for model, column in ((Person, "name"), (Clip, "title"), (Drill, "tags")):
        assert all(is_one_line(text) for text in model.objects.values_list(column, flat=True))
