"""Whatever an address, a query or a form holds, no answer is a fault of ours.

Every address of the resolver, as whoever may use it, with odd digits, numbers that no database
holds, and text that is none, under every name that any page reads.
"""

import re
from pathlib import Path

import pytest
from django import forms
from django.db import transaction
from django.urls import reverse
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.addresses import TABLE, world  # noqa: F401
from tests.cast import as_person
from tests.review.heard_clip import listen_again

pytestmark = pytest.mark.django_db

STUDIO = Path(__file__).resolve().parents[1] / "studio"
READ = re.compile(
    r"""(?:GET|POST|asked|data|sent|said)(?:\.get|\.getlist)?[(\[]f?["']([a-z_0-9-]+)"""
)
ODD = (
    *("²", "٣", "１", "9" * 30, "-" + "9" * 30, str(2**63), str(2**63 - 1), "9" * 5000, "-1"),
    *("nan", "inf", "-inf", "1e999", "9" * 400 + ":00", "0:00", "", " ", "0", "1.5", "1_0"),
    *("\x00", "a\x00b", "a\nb", "\ud7ff", "%", "'", "[]", "{}", "null", "[[", '{"strokes":[]}'),
    *("2026-02-30", "9999-12-31", "0001-01-01", "tomorrow", "../..", "//x.example", "a" * 3000),
)


def names() -> list[str]:
    """What pages read of an address or a form: by hand, and by the fields of forms."""
    by_hand = {name for path in STUDIO.rglob("*.py") for name in READ.findall(path.read_text())}
    in_tables = {name for _, _, posted in TABLE.values() for name in posted}
    fields = {name for form in _below(forms.BaseForm) for name in getattr(form, "base_fields", ())}
    return sorted(by_hand | in_tables | fields)


def _below(kind: type) -> set[type]:
    return {kind}.union(*map(_below, kind.__subclasses__()))


@pytest.fixture
def asked(cast, world):  # noqa: F811
    """Ask one address with these words, as one who may."""
    listen_again_on(world["clip_page"]["clip_id"])
    people = {"anonymous": None} | cast.people()
    usual = sorted(TABLE)

    def ask(name: str, post: bool, words: dict) -> None:
        may = TABLE[name][post] or TABLE[name][not post] or {"teacher"}
        who = people[sorted(may & {"teacher", "pupil", "guardian", "anonymous"} or may)[-1]]
        address = reverse(name, kwargs=world.get(name, {}))
        with transaction.atomic():
            client = as_person(who)
            answer = client.post(address, words) if post else client.get(address, words)
            for _ in answer if answer.streaming else ():
                pass
            transaction.set_rollback(True)
        assert answer.status_code < 500, (name, post, words)

    ask.names = usual
    return ask


def listen_again_on(clip_id) -> None:
    from studio.clips.models import Clip

    listen_again(Clip.objects.get(pk=clip_id))


@pytest.mark.parametrize("post", [False, True], ids=["query", "form"])
def test_odd_words_are_no_fault(asked, drawn, post):
    """Each address with odd words under a third of all names at once, another for each name."""
    known, faults = names(), []
    assert len(known) > 60
    addresses = enumerate(name for name in asked.names if TABLE[name][post])
    for turn, name in drawn(list(addresses), 1 / 3):
        words = {
            key: ODD[(turn * 7 + at) % len(ODD)]
            for at, key in enumerate(known)
            if at % 3 == turn % 3
        }
        try:
            asked(name, post, words)
        except Exception as fault:
            faults.append(f"{name}: {type(fault).__name__}: {fault}"[:300])
    assert faults == []


@settings(max_examples=30, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_whatever_comes_is_no_fault(asked, data):
    name = data.draw(st.sampled_from(asked.names))
    odd = st.sampled_from(ODD) | st.text(max_size=40) | st.integers().map(str)
    usual = TABLE[name][2]
    words = data.draw(st.dictionaries(st.sampled_from(names()), odd, max_size=8))
    asked(name, data.draw(st.booleans()), {**usual, **words})


@pytest.mark.sweep(1 / 3)
@pytest.mark.parametrize("number", ["²", str(2**63), "9" * 5000])
def test_odd_numbers_in_an_address_are_not_there(cast, world, number):  # noqa: F811
    """Where an address holds a number of a row."""
    for name in TABLE:
        kwargs = world.get(name, {})
        whole = [key for key, value in kwargs.items() if type(value) is int]
        for key in whole:
            mark = 987654321012
            address = reverse(name, kwargs={**kwargs, key: mark}).replace(str(mark), number)
            may = (TABLE[name][0] or TABLE[name][1] or {"teacher"}) & {
                "teacher",
                "pupil",
                "guardian",
            }
            who = cast.people()[(sorted(may) or ["teacher"])[-1]]
            with transaction.atomic():
                client = as_person(who)
                answer = client.get(address) if TABLE[name][0] else client.post(address)
                transaction.set_rollback(True)
            assert answer.status_code < 500, address
