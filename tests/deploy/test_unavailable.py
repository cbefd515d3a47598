"""While the database is away a page says so, and says when to come back."""

from unittest import mock

import pytest
from django.db import OperationalError
from django.test import Client

from studio.accounts import views


@pytest.mark.parametrize(
    ("error", "status", "words"),
    [
        (OperationalError("the connection was refused"), 503, "The studio is not ready"),
        (ValueError("a fault of ours"), 500, "Something went wrong"),
    ],
)
def test_a_failure_is_told_as_what_it_is(error, status, words):
    client = Client(raise_request_exception=False)
    with mock.patch.object(views.LogIn, "get", side_effect=error):
        answer = client.get("/log-in/")
    assert (answer.status_code, words in answer.text) == (status, True)
    assert answer.get("Retry-After") == ("10" if status == 503 else None)
