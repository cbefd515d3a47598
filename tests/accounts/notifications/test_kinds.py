"""Which kinds there are, for whom, what may be switched off; and that nobody is told twice."""

import pytest
from django.utils import timezone

from studio.accounts import notifications
from studio.accounts.models import Membership, Notification
from studio.accounts.notifications import KINDS, kinds, telling
from tests.accounts import mailbox

mail = mailbox.mail  # the fixture
TEACHER, PUPIL, GUARDIAN = Membership.Role.TEACHER, Membership.Role.PUPIL, Membership.Role.GUARDIAN
EVERYBODY = {TEACHER, PUPIL, GUARDIAN}
#: kind: (for whom it is, whether it may be switched off, whether a letter is usual)
TABLE = {
    "returned": ({PUPIL, GUARDIAN}, True, True),
    "set": ({PUPIL, GUARDIAN}, True, True),
    "lesson": ({PUPIL, GUARDIAN}, True, True),
    "answered": ({PUPIL, GUARDIAN}, True, True),
    "consent": ({PUPIL, GUARDIAN}, True, True),
    "asked": ({TEACHER}, True, True),
    "waiting": ({TEACHER}, True, False),
    "caution": (EVERYBODY, True, True),
    "going": (EVERYBODY, False, True),
    "account": (EVERYBODY, False, True),
    "invitation": (EVERYBODY, False, True),
    "erased": (EVERYBODY, False, True),
}


def told(cast, to, kind="set", key="set-1", **more) -> bool:
    said = {"about": cast.pupil, "studio": cast.studio, "path": "/queue/", "by": cast.teacher}
    return notifications.tell(to, kind, key=key, **said | {"what": "Sixths"} | more)


def sentence(kind: str, *, own=False, pupil_did=False) -> str:
    said = {"by": "Ottilie", "about": "Mira", "what": "Sixths"}
    return KINDS[kind].sentence(own=own, pupil_did=pupil_did, **said)


def test_the_registry_is_the_table():
    found = {
        kind.name: (set(kind.told), kind.is_optional, kind.by_letter) for kind in KINDS.values()
    }
    assert found == TABLE


@pytest.mark.parametrize("name", TABLE)
def test_each_kind_has_plain_words_for_each_of_its_roles(name):
    kind = KINDS[name]
    words = [kind.title, *kind.told.values(), *([kind.always] if kind.always else [])]
    for text in map(str, words):
        assert text[0].isupper()
        assert "!" not in text
    assert all(str(text).endswith(".") for text in words[1:])
    said = (
        {sentence(name, own=PUPIL in kind.told)} | {sentence(name)} if kind.is_optional else set()
    )
    assert all(text.endswith(".") and "%" not in text and "!" not in text for text in said)
    assert bool(kind.own) == (kind.is_optional and PUPIL in kind.told)


def test_the_pupil_and_the_others_read_it_each_in_their_words():
    assert sentence("set", own=True) == "Ottilie has set you a drill: Sixths."
    assert sentence("set") == "Ottilie has set Mira a drill: Sixths."
    assert sentence("asked", pupil_did=True) == "Ottilie asks you something."
    assert sentence("asked") == "Ottilie asks something about the lessons of Mira."


def test_what_a_letter_says_of_a_caution_tells_nothing_of_the_hand():
    assert "Sixths" not in sentence("caution") + sentence("caution", own=True)


@pytest.mark.parametrize("name", [name for name, row in TABLE.items() if not row[1]] + ["other"])
def test_what_is_not_optional_can_neither_be_told_so_nor_switched_off(cast, name):
    with pytest.raises(ValueError, match="give one of returned, set"):
        told(cast, cast.pupil, name)
    with pytest.raises(ValueError, match="give one of"):
        telling.choose(cast.pupil, name, on_page=False, by_letter=False)


def test_nobody_is_told_the_same_twice(cast, mail):
    assert told(cast, cast.pupil)
    assert not told(cast, cast.pupil, what="Another")
    assert told(cast, cast.guardian)
    cast.disabled.refresh_from_db()
    assert not told(cast, cast.disabled), "her account is closed"
    people = [cast.pupil, cast.guardian, cast.pupil]
    assert notifications.tell_each(people, "answered", key="a-1", **said_of(cast)) == 2
    assert Notification.objects.count() == 4


def said_of(cast) -> dict:
    return {"about": cast.pupil, "studio": cast.studio, "path": "/queue/"}


@pytest.mark.parametrize(("on_page", "by_letter"), [(1, 1), (1, 0), (0, 1), (0, 0)])
def test_each_is_told_where_she_wants_it(cast, mail, on_page, by_letter):
    telling.choose(cast.pupil, "set", on_page=bool(on_page), by_letter=bool(by_letter))
    told(cast, cast.pupil)
    told(cast, cast.guardian)
    mine, hers = Notification.objects.get(to=cast.pupil), Notification.objects.get(to=cast.guardian)
    assert (mine.on_page, mine.letter_due_at is not None) == (bool(on_page), bool(by_letter))
    assert hers.on_page
    assert hers.letter_due_at is not None


def test_a_letter_that_was_to_come_does_not_once_it_is_unwanted(cast, mail):
    told(cast, cast.pupil)
    telling.choose(cast.pupil, "answered", on_page=True, by_letter=False)
    assert Notification.objects.get().letter_due_at is not None
    telling.choose(cast.pupil, "set", on_page=True, by_letter=False)
    assert Notification.objects.get().letter_due_at is None


def test_without_an_address_or_a_mail_server_there_is_the_page_alone(cast, mail, settings):
    type(cast.pupil).objects.filter(pk=cast.pupil.pk).update(email=None, login_name="mira.s")
    cast.pupil.refresh_from_db()
    told(cast, cast.pupil)
    settings.MAIL = None
    told(cast, cast.guardian)
    assert not Notification.objects.filter(letter_due_at__isnull=False).exists()
    assert Notification.objects.filter(on_page=True).count() == 2


def test_roles_are_those_of_today(cast):
    assert telling.roles_of(cast.guardian) == {GUARDIAN}
    assert [kind.name for kind in kinds.told_to({GUARDIAN})] == [
        *("returned", "set", "lesson", "answered", "consent", "caution"),
        *("going", "account", "invitation", "erased"),
    ]
    yesterday = timezone.localdate() - timezone.timedelta(days=1)
    started = yesterday - timezone.timedelta(days=9)
    cast.guardian.memberships.update(started_on=started, ended_on=yesterday)
    assert telling.roles_of(cast.guardian) == set()
