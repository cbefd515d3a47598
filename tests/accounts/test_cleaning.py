"""What is old goes by itself, after the ages that are stated, and nothing younger."""

from datetime import timedelta

import pytest
from axes.models import AccessAttempt
from django.core.management import CommandError, call_command
from django.utils import timezone

from studio import environment
from studio.accounts import cleaning, letters, tasks
from studio.accounts.models import Invitation, Letter, Membership, Notification
from tests.accounts.mailbox import mail_server

SOON = timedelta(minutes=5)


def attempt(age: timedelta) -> None:
    """As an older version of the studio wrote them; no signal of django-axes is sent."""
    row = AccessAttempt(username="a", ip_address="192.0.2.1", user_agent=str(age))
    row.failures_since_start = 1
    AccessAttempt.objects.bulk_create([row])
    mine = AccessAttempt.objects.filter(user_agent=str(age))
    mine.update(attempt_time=timezone.now() - age)


def invitation(cast, ran_out: timedelta, **more) -> Invitation:
    return Invitation.objects.create(
        studio=cast.studio,
        role=Membership.Role.PUPIL,
        name="Runa",
        email="runa@s.example",
        token_sha256=str(ran_out) + str(more),
        expires_at=timezone.now() - ran_out,
        **more,
    )


@pytest.mark.django_db
def test_log_in_records_letters_and_untaken_invitations_go_and_younger_ones_stay(cast):
    for age in (cleaning.LOG_IN_RECORDS - SOON, cleaning.LOG_IN_RECORDS + SOON):
        attempt(age)
    for age in (letters.KEPT - SOON, letters.KEPT + SOON):
        Letter.objects.create(kind="answer", to="a@s.example", created_at=timezone.now() - age)
    for age in (cleaning.TOLD - SOON, cleaning.TOLD + SOON):
        Notification.objects.create(
            **{"to": cast.pupil, "about": cast.pupil, "studio": cast.studio, "kind": "set"},
            **{"key": str(age), "path": "/queue/", "created_at": timezone.now() - age},
        )
    young = invitation(cast, cleaning.UNTAKEN_INVITATIONS - SOON)
    invitation(cast, cleaning.UNTAKEN_INVITATIONS + SOON)
    taken = invitation(
        cast, cleaning.UNTAKEN_INVITATIONS + SOON, accepted_at=timezone.now() - timedelta(days=95)
    )
    gone = {"log_in_records": 1, "letters": 1, "invitations": 1, "notifications": 1}
    assert cleaning.clean() == {"tries": 0, "address_changes": 0, **gone}
    left = {model.objects.count() for model in (AccessAttempt, Letter, Notification)}
    assert left == {1}
    assert set(Invitation.objects.all()) == {young, taken}


@pytest.mark.django_db
def test_the_hourly_task_does_it_without_a_mail_server(cast, settings):
    settings.MAIL = None
    Letter.objects.create(
        kind="answer", to="a@s.example", created_at=timezone.now() - timedelta(days=2)
    )
    tasks.end_old_sessions()
    assert not Letter.objects.exists()
    assert settings.CELERY_BEAT_SCHEDULE["end-old-sessions"]["schedule"] <= 3600


# -- a letter to see whether mail works ------------------------------------------------------


@pytest.fixture
def to_server(settings, monkeypatch):
    """Settings as EMAIL_URL makes them, for a server on a port of this machine."""

    def use(port: int) -> None:
        monkeypatch.setenv("EMAIL_URL", f"smtp://127.0.0.1:{port}?tls=0")
        settings.MAIL = environment.mail("EMAIL_URL")
        for name, value in settings.MAIL.items():
            setattr(settings, name, value)
        settings.MAIL_FROM = settings.DEFAULT_FROM_EMAIL = "studio@studio.example"
        settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"

    return use


def test_a_test_letter_arrives_at_a_real_server(to_server, capsys):
    with mail_server() as server:
        to_server(server.server_address[1])
        call_command("letter", "--to", "operator@studio.example")
    (received,) = server.received
    assert "To: operator@studio.example" in received
    assert "From: studio@studio.example" in received
    assert "took a letter from studio@studio.example" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("to", "port", "says"),
    [
        ("operator@studio.example", 1, r"127.0.0.1, port 1 did not take the letter \(.*refused"),
        ("operator", 1, "'operator' is no address; give one such as"),
    ],
)
def test_a_letter_that_cannot_be_sent_is_told_in_a_sentence(to_server, to, port, says):
    to_server(port)
    with pytest.raises(CommandError, match=says):
        call_command("letter", "--to", to)


def test_without_a_mail_server_it_says_so(settings):
    settings.MAIL = None
    with pytest.raises(CommandError, match="EMAIL_URL is not set: the studio sends no mail"):
        call_command("letter", "--to", "operator@studio.example")
