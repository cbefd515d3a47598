"""A worker that is killed while it tells somebody: nothing is lost, and nothing is read twice."""

import email
import os
import signal
from collections.abc import Callable
from datetime import timedelta

import pytest
from django.db import connections
from django.utils import timezone

from studio.accounts import letters, notifications
from studio.accounts.models import Letter, Notification
from studio.accounts.notifications import digest
from tests.accounts.mailbox import mail_server
from tests.cast import make_cast

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def cast():
    return make_cast()


@pytest.fixture
def server(mail, site, settings):
    with mail_server() as running:
        settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
        settings.EMAIL_HOST, settings.EMAIL_PORT = running.server_address
        yield running


def die(*_args, **_more) -> None:
    os.kill(os.getpid(), signal.SIGKILL)


def as_it_writes() -> None:
    """The letter's row is there, and its transaction is not at its end."""
    post = letters.post_of_lessons
    letters.post_of_lessons = lambda *args: (post(*args), die())
    digest.write_due()


def before_it_sends() -> None:
    digest.write_due()
    letters._send = die
    letters.send_due()


def before_it_notes() -> None:
    """The mail server has taken it."""
    digest.write_due()
    letters.Now = die
    letters._send(Letter.objects.get())


@pytest.mark.fault(
    1, "the worker killed while it writes and sends a letter", "one letter, or one message twice"
)
@pytest.mark.parametrize(
    ("moment", "sent"), [(as_it_writes, 1), (before_it_sends, 1), (before_it_notes, 2)]
)
def test_one_message_whenever_it_is_killed(cast, server, moment, sent, seen):
    said = {"about": cast.pupil, "studio": cast.studio, "by": cast.teacher, "path": "/queue/"}
    for key in ("a", "b"):
        notifications.tell(cast.pupil, "set", key=key, what=key.upper(), **said)
    killed(moment)
    Letter.objects.update(rests_until=timezone.now() - timedelta(seconds=5))
    for _ in range(2):
        digest.write_due()
        letters.send_due()
    messages = [email.message_from_string(raw) for raw in server.received]
    assert len(messages) == sent
    assert len({message["Message-ID"] for message in messages}) == 1
    assert all("drill: A." in raw and "drill: B." in raw for raw in server.received)
    assert Letter.objects.exclude(sent_at=None).count() == 1
    assert Notification.objects.exclude(lettered_at=None).count() == 2
    seen(f"{moment.__name__}: {sent} sent, one Message-ID")


def killed(moment: Callable[[], None]) -> None:
    """Do it in a process that does not come to its end."""
    connections.close_all()
    child = os.fork()
    if not child:
        try:
            moment()
        finally:
            os._exit(1)  # it lived: the parent sees that
    assert os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == -signal.SIGKILL
