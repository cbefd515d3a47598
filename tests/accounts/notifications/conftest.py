"""A studio that sends letters and is reached by https; clocks that move on."""

from datetime import UTC, date, datetime

import pytest
from django.utils import timezone

from studio.accounts.models import Enrolment, GuardianLink, Membership
from tests.accounts import mailbox

mail = mailbox.mail  # the fixture


@pytest.fixture
def site(settings) -> str:
    settings.CSRF_TRUSTED_ORIGINS = ["https://studio.example"]
    return "https://studio.example"


@pytest.fixture
def clock(monkeypatch, cast):
    """Sets everybody's clock: ``clock("2026-03-02T10:00")``, in UTC. Everybody was there before."""
    for dated in (Enrolment, GuardianLink, Membership):
        dated.objects.update(started_on=date(2020, 1, 1))

    def set_to(moment: str) -> datetime:
        now = datetime.fromisoformat(moment).replace(tzinfo=UTC)
        monkeypatch.setattr(timezone, "now", lambda: now)
        return now

    return set_to
