"""How passwords are asked for: hidden, filled in by the browser's own keeper, taken as typed."""

import re

import pytest
from django.urls import reverse

from studio.accounts import passwords
from studio.accounts.models import Person
from tests.cast import as_person

PAGES = ("log_in", "account", "account_again", "password_by_code", "password_by_link")


@pytest.mark.parametrize("name", PAGES)
def test_a_password_is_hidden_and_may_be_filled_in_by_a_keeper(cast, name):
    _, secret = passwords.make_link(cast.pupil)
    more = {"secret": secret} if name == "password_by_link" else {}
    client = as_person(cast.teacher if name.startswith("account") else None)
    page = client.get(reverse(name, kwargs=more)).text
    fields = re.findall(r"<input[^>]*name=\"(?:\w*password|again)\"[^>]*>", page)
    assert fields
    for field in fields:
        assert 'type="password"' in field
        assert re.search(r'autocomplete="(current|new)-password"', field)
        assert "maxlength" not in field
        assert "onpaste" not in field


@pytest.mark.parametrize("password", [" spaces stay around it ", "Größe und Maß 🎻", "x" * 500])
def test_a_password_is_taken_exactly_as_it_was_typed(cast, client, password):
    person = cast.pupil
    passwords.renew(person, password)
    for wrong in (password.strip() + "x", password.upper() + "x", password[:-1]):
        said = {"username": person.email, "password": wrong}
        assert client.post("/log-in/", said).status_code == 200
    said = {"username": person.email, "password": password}
    assert client.post("/log-in/", said).status_code == 302


def test_a_new_installation_knows_nobody(db):
    assert Person.objects.count() == 0
