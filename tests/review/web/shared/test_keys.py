"""The keys that a teacher changes: what is kept, and what is refused with a sentence."""

import json

import pytest
from django.urls import reverse

from studio.review.models import DeskKeys
from studio.review.web.shared.keys import at_first, changed_by
from tests.cast import as_person
from tests.review.heard_clip import heard_clip

pytestmark = pytest.mark.django_db


def keep(who, keys):
    text = keys if isinstance(keys, str) else json.dumps(keys)
    return as_person(who).post(reverse("desk_keys"), {"keys": text})


def test_no_two_actions_have_the_same_key_at_first():
    for page in ("", "compare"):
        on_page = [row for row in at_first().values() if row.page in (page, "both")]
        keys = [key for row in on_page for key in row.keys]
        assert len(keys) == len(set(keys))
    assert len(at_first()) > 25
    assert at_first()["cancel"] == (["Escape"], True, "")
    assert at_first()["switch"] == (["a"], False, "compare")


def test_a_key_may_do_one_thing_on_each_page_and_no_two_on_one(cast):
    assert keep(cast.teacher, {"switch": "k"}).status_code == 200
    assert keep(cast.teacher, {"switch": "Space"}).status_code == 422
    assert keep(cast.teacher, {"play": "a"}).status_code == 422


def test_a_key_kept_under_an_action_s_name_of_before_is_still_its_key(cast):
    DeskKeys.objects.create(person=cast.teacher, keys={"return-pile": "9", "gone": "8"})
    assert changed_by(cast.teacher) == {"return-batch": "9"}


def test_what_is_changed_is_kept_for_the_person_and_told_to_their_pages(cast):
    for _ in range(2):
        assert keep(cast.teacher, {"keep": "9", "drop": "Shift+ArrowUp"}).status_code == 200
    clip = heard_clip(cast.enrolment)
    page = as_person(cast.teacher).get(f"/clips/{clip.pk}/")
    assert page.context["keys_changed"] == '{"keep": "9", "drop": "Shift+ArrowUp"}'
    assert as_person(cast.colleague).get(f"/clips/{clip.pk}/").context["keys_changed"] == "{}"


def test_two_actions_may_swap_their_keys(cast):
    assert keep(cast.teacher, {"keep": "d", "drop": "k"}).status_code == 200
    assert changed_by(cast.teacher) == {"keep": "d", "drop": "k"}
    keep(cast.teacher, {})
    assert changed_by(cast.teacher) == {}


@pytest.mark.parametrize(
    ("keys", "said"),
    [
        ({"keep": "d"}, "two things"),
        ({"keep": "9", "drop": "x"}, "two things"),
        ({"fly": "x"}, "nothing called"),
        ({"cancel": "x"}, "Esc keeps"),
        ({"keep": "Tab"}, "cannot be given"),
        ({"keep": ""}, "cannot be given"),
        ({"keep": "Shift+"}, "cannot be given"),
        ({"keep": "<b>"}, "cannot be given"),
        ({"keep": " "}, "cannot be given"),
        ({"keep": 7}, "could not be read"),
        ([1], "could not be read"),
        ("{", "could not be read"),
        ('{"a":' * 2000, "too many"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_is_kept(cast, keys, said):
    answer = keep(cast.teacher, keys)
    assert answer.status_code == 422
    assert said in answer.json()["said"]
    assert not DeskKeys.objects.exists()


def test_an_action_that_is_gone_since_leaves_no_trace_on_the_page(cast):
    DeskKeys.objects.create(person=cast.teacher, keys={"fly": "x", "keep": "y"})
    assert changed_by(cast.teacher) == {"keep": "y"}
