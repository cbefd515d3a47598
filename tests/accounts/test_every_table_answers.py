"""Every table says whose its rows are, how they are exported and erased, and how long they stay.

What is asked follows regulation (EU) 2016/679: article 15 (access), 17 (erasure), 20 (portability),
5(1)(e) (storage limitation).
"""

import json
from uuid import uuid4

import pytest
from django.apps import apps
from django.core.exceptions import FieldDoesNotExist
from django.db import connection, models
from django.db.models import Model
from django.test.utils import isolate_apps
from django.utils import timezone

from studio.accounts import personal_data
from studio.accounts.models import (
    Enrolment,
    GuardianLink,
    Invitation,
    Letter,
    Person,
    Studio,
)
from studio.accounts.personal_data import (
    Emptied,
    Entry,
    Exported,
    Fields,
    Goes,
    Impersonal,
    Kept,
    Stays,
    Unlinked,
    Withheld,
    fields,
    plain,
)
from studio.clips.models import Clip
from studio.review.models import Comment, Decision, Review
from tests.cast import make_clip, make_return


@pytest.fixture
def clip(cast) -> Clip:
    return make_clip(cast.enrolment)


@pytest.fixture
def returned_clip(clip) -> Clip:
    make_return(clip)
    return clip


PEOPLE = (Person, Enrolment, Clip, Studio)


def tables() -> list[type[Model]]:
    return list(apps.get_models(include_auto_created=True))


def complaints(model: type[Model], answer: Entry | Impersonal | None) -> list[str]:
    """What an answer leaves open, each as a sentence for whoever built the table."""
    name = model._meta.label
    if answer is None:
        return [f"{name}: no answer; give one in a personal_data module of its app"]
    if isinstance(answer, Impersonal):
        return [
            f"{name}.{field.name}: leads to people; register it, with whose it is"
            for field in relations(model)
            if field.related_model is not Studio and is_personal(field.related_model)
        ] + ([] if answer.reason.endswith(".") else [f"{name}: say why, in a sentence"])
    return [*_open_relations(name, model, answer), *_open_lookups(name, answer)] + [
        f"{name}: say why, in a sentence"
        for said in (answer.erasure, answer.export, *answer.named.values())
        if isinstance(said, Unlinked | Stays | Withheld) and not said.reason.endswith(".")
    ]


def _open_relations(name: str, model: type[Model], answer: Entry) -> list[str]:
    ways = (*answer.subjects, answer.studio, answer.clip)
    first = {way.partition("__")[0] for way in ways} | set(answer.named)
    unsaid = [
        f"{name}.{field.name}: say in named what becomes of the row when that is erased"
        for field in relations(model)
        if is_personal(field.related_model) and field.name not in first
    ]
    null = {field.name for field in relations(model) if field.null}
    return unsaid + [
        f"{name}.{field}: it cannot be null"
        for field, erasure in answer.named.items()
        if isinstance(erasure, Unlinked) and field not in null
    ]


def _open_lookups(name: str, answer: Entry) -> list[str]:
    ends = {answer.studio: Studio, answer.clip: Clip} | dict.fromkeys(answer.subjects, Person)
    wrong = [
        f"{name}: {lookup} does not lead to a {end.__name__}"
        for lookup, end in ends.items()
        if lookup and reached(answer.model, lookup) is not end
    ]
    empties = answer.erasure.values if isinstance(answer.erasure, Emptied) else {}
    return wrong + [f"{name}: it has no {field}" for field in empties if not has(answer, field)]


def relations(model: type[Model]) -> list:
    concrete = [field for field in model._meta.get_fields() if field.concrete]
    return [field for field in concrete if field.is_relation and not field.many_to_many]


def is_personal(model: type[Model]) -> bool:
    return model in PEOPLE or isinstance(personal_data.answer_of(model), Entry)


def reached(model: type[Model], lookup: str) -> type[Model]:
    for part in lookup.split("__"):
        if part != "pk":
            model = model._meta.get_field(part).related_model
    return model


def has(answer: Entry, field: str) -> bool:
    try:
        answer.model._meta.get_field(field)
    except FieldDoesNotExist:
        return False
    return True


# -- every table ---------------------------------------------------------------------------


@pytest.mark.parametrize("model", tables(), ids=lambda model: model._meta.label)
def test_a_table_answers(model):
    assert complaints(model, personal_data.answer_of(model)) == []


def test_there_is_no_table_that_no_model_stands_for(db):
    known = {model._meta.db_table for model in tables()} | {"django_migrations"}
    assert set(connection.introspection.table_names()) - known == set()


@pytest.mark.parametrize("entry", personal_data.entries(), ids=lambda entry: entry.model.__name__)
def test_its_questions_can_be_asked(entry, cast):
    """Of the database, in a studio where neither has anything."""
    for person in (cast.pupil, cast.teacher):
        assert not entry.of(person, cast.other_studio).exists()
        assert not entry.exported(person, cast.other_studio).exists()
        assert entry.exported(person).count() <= entry.of(person).count()
    assert not entry.of_clip(uuid4()).exists()


@pytest.mark.parametrize("entry", personal_data.entries(), ids=lambda entry: entry.model.__name__)
def test_each_field_that_is_exported_exists_and_what_is_left_out_is_said(entry):
    if isinstance(entry.export, Exported):
        assert bool(entry.export.but) == bool(entry.export.only)
        assert isinstance(entry.export.row, Fields)
        assert entry.export.row.names
        for name in entry.export.row.names:
            *way, last = name.split("__")
            model = reached(entry.model, "__".join(way) or "pk")
            assert model._meta.get_field(last)


def test_exports_of_all_that_is_there_are_json(cast, returned_clip):
    exported = {}
    for entry in personal_data.entries():
        if isinstance(entry.export, Exported):
            rows = [entry.export.row(row) for row in entry.model._base_manager.all()]
            exported[entry.model.__name__] = json.loads(json.dumps(rows))
    assert exported["Clip"][0]["title"] == Clip.objects.first().title
    assert exported["Enrolment"][0]["teacher"] == cast.teacher.name
    assert {"Return", "Comment", "Membership", "Consent"} <= {k for k, v in exported.items() if v}


# -- whose rows ----------------------------------------------------------------------------


def answer(model) -> Entry:
    found = personal_data.answer_of(model)
    assert isinstance(found, Entry)
    return found


def test_a_clip_is_the_pupils_and_not_the_teachers(cast, returned_clip):
    assert list(answer(Clip).of(cast.pupil)) == [returned_clip]
    assert list(answer(Clip).of(cast.pupil, cast.studio)) == [returned_clip]
    assert not answer(Clip).of(cast.teacher).exists()
    assert list(answer(Comment).of_clip(returned_clip.pk)) == list(Comment.objects.all())


def test_what_is_not_returned_is_erased_with_the_rest_and_exported_to_nobody(cast, clip):
    review = clip.review
    Comment.objects.create(review=review, author=cast.teacher, start_s=0.0, text="not yet")
    assert answer(Comment).of(cast.pupil).count() == 1
    assert answer(Review).of(cast.pupil).count() == 1
    assert not answer(Comment).exported(cast.pupil).exists()
    assert not answer(Review).exported(cast.pupil).exists()


def test_letters_and_invitations_are_found_by_address(cast):
    Letter.objects.create(kind="account", to=cast.pupil.email.upper(), body="…")
    assert answer(Letter).of(cast.pupil).count() == 1
    assert not answer(Letter).of(cast.guardian).exists()


def test_no_export_for_a_child_has_the_address_of_a_guardian(cast):
    Invitation.objects.create(
        **{"studio": cast.studio, "role": "guardian", "name": "Aunt", "pupil": cast.pupil},
        **{"email": "aunt@example.org", "token_sha256": "0" * 64},
        expires_at=timezone.now(),
    )
    for entry in personal_data.entries():
        if isinstance(entry.export, Exported):
            said = json.dumps([entry.export.row(row) for row in entry.exported(cast.pupil)])
            assert "aunt@" not in said
            assert cast.guardian.email not in said
    assert answer(GuardianLink).exported(cast.pupil).count() == 2
    assert answer(Invitation).exported(cast.pupil).count() == 1


# -- an answer that is missing or wrong is found ---------------------------------------------


def entry_of(model, **changed) -> Entry:
    known = answer(model)
    same = {name: getattr(known, name) for name in Entry.__slots__}
    return Entry(**same | changed)


@pytest.mark.parametrize(
    ("model", "given", "complaint"),
    [
        (Comment, lambda: None, "no answer"),
        (Comment, lambda: Impersonal(Comment, "Nobody."), "leads to people"),
        (Comment, lambda: entry_of(Comment, named={}), "Comment.author: say in named"),
        (Decision, lambda: entry_of(Decision, named={}), "Decision.listening: say in named"),
        (Comment, lambda: entry_of(Comment, clip="review"), "does not lead to a Clip"),
        (Comment, lambda: entry_of(Comment, named={"author": Unlinked("So.")}), "cannot be null"),
        (Comment, lambda: entry_of(Comment, erasure=Stays("")), "say why"),
        (Comment, lambda: entry_of(Comment, erasure=Emptied({"words": ""})), "has no words"),
        (Studio, lambda: Impersonal(Studio, ""), "say why"),
    ],
)
def test_a_gap_is_named(model, given, complaint):
    found = complaints(model, given())
    assert any(complaint in each for each in found), found


@isolate_apps("studio.review")
def test_a_table_that_is_built_later_must_answer():
    class Diary(models.Model):
        person = models.ForeignKey(Person, models.CASCADE, related_name="+")

        class Meta:
            app_label = "review"

        def __str__(self) -> str:
            return "a diary"

    assert "no answer" in complaints(Diary, personal_data.answer_of(Diary))[0]
    assert "leads to people" in complaints(Diary, Impersonal(Diary, "Nobody."))[0]


def test_a_table_answers_once():
    with pytest.raises(ValueError, match="answered already"):
        personal_data.register(
            Comment, export=Exported(fields("text")), erasure=Goes(), kept=Kept.CLIP
        )


def test_what_has_no_plain_form_is_refused():
    assert plain({1: (True, None)}) == {"1": [True, None]}
    with pytest.raises(TypeError, match="no plain form"):
        plain(b"bytes")
