"""Letters: written as rows, sent by a worker, so that no page waits for a mail server.

A letter is claimed by a conditional update before it is sent, and rests after a failure: a minute,
then two, four ... A worker that dies between sending and noting it sends twice, under one
Message-ID, so that the reader sees one; none is lost.
"""

import logging
from collections.abc import Iterable
from datetime import timedelta
from smtplib import SMTPException
from typing import Any
from urllib.parse import urlsplit

from django.contrib.auth.tokens import default_token_generator
from django.core.mail import EmailMessage, send_mail
from django.db import transaction
from django.db.models import F, Q, QuerySet
from django.db.models.functions import Now
from django.urls import reverse
from django.utils import timezone
from django.utils.crypto import salted_hmac
from django.utils.encoding import force_bytes
from django.utils.http import urlsafe_base64_encode
from django.utils.translation import gettext as _
from kombu.exceptions import OperationalError

from studio import figures
from studio.celery import app
from studio.translating import gettext_lazy

from . import links
from .models import Invitation, Letter, Person
from .names import in_one_line
from .notifications import schedule, unsubscribing

log = logging.getLogger(__name__)

MAX_ATTEMPTS = 8
FIRST_REST = timedelta(minutes=1)
KEPT = timedelta(days=1)
LONGEST_SUBJECT = 200  # letters
RESETS_AN_HOUR = 3  # to one address; more would be a nuisance to whoever has it
TASK = "studio.accounts.tasks.send_letters"

INVITATION = gettext_lazy("""Dear {name},

{who} invites you to {studio}, as {role}. Open this link and accept:

{link}

It works once, until {until}. If you do not know {studio}, do nothing: then nothing happens.
""")
NEW_PASSWORD = gettext_lazy("""Dear {name},

with this link you choose a new password for the studio:

{link}

It works for an hour. If you did not ask for it, do nothing: your password stays as it is.
""")
TEST = gettext_lazy("""This letter shows that the studio can send mail. Nothing has to be done.
""")
ABOUT_ACCOUNT = """Dear {name},

{text}
"""
ERASED = gettext_lazy("""Dear reader,

what you asked us to erase on {asked} is erased. {backups}

This is the last letter about it.
""")
NEW_ADDRESS = gettext_lazy("""Dear {name},

with this link you make this the address that you log in with:

{link}

It works for a day, where you are logged in. If you did not ask for it, do nothing.
""")


def post_about_account(to: str, name: str, text: str) -> None:
    """Tell what happened to an account."""
    body = ABOUT_ACCOUNT.format(name=name, text=text)
    _post(Letter.Kind.ACCOUNT, to, _("About an account at the studio"), body)


def post_to_wait(to: Person, subject: str, text: str) -> None:
    """Tell a person what has time until her quiet hours are over, and cannot be switched off."""
    body = ABOUT_ACCOUNT.format(name=to.name, text=text)
    _post(Letter.Kind.ACCOUNT, to.email or "", subject, body, person=to)


def post_of_lessons(to: Person, subject: str, body: str, kinds: Iterable[str]) -> None:
    """Put a letter of optional kinds on its way, which ``body`` has all the words of."""
    more = {"person": to, "kinds": " ".join(kinds)}
    _post(Letter.Kind.LESSONS, to.email or "", subject, body, **more)


def post_new_address(to: str, name: str, link: str) -> None:
    """Ask whoever has the new address to confirm it."""
    _post(Letter.Kind.ACCOUNT, to, _("Your new address"), NEW_ADDRESS.format(name=name, link=link))


def post_to_operator(to: str, subject: str, text: str) -> None:
    """Tell whoever looks after the machine."""
    _post(Letter.Kind.OPERATOR, to, subject, text)


def post_erased(to: str, asked: str, backups: str) -> None:
    """Tell that an erasure came to its end; the row goes once it is sent."""
    _post(Letter.Kind.ERASED, to, _("It is erased"), ERASED.format(asked=asked, backups=backups))


def post_invitation(invited: Invitation, link: str) -> None:
    """Put the letter with an invitation's link on its way."""
    body = INVITATION.format(
        name=invited.name,
        who=invited.invited_by or _("The teacher"),
        studio=invited.studio,
        role=invited.get_role_display() + (f" of {invited.of_whom}" if invited.of_whom else ""),
        link=link,
        until=figures.date_time(timezone.localtime(invited.expires_at)),
    )
    _post(
        Letter.Kind.INVITATION,
        invited.email,
        _("An invitation to %(studio)s") % {"studio": invited.studio},
        body,
    )


def post_new_password(email: str, site: str) -> None:
    """Note that somebody asked for a new password; whether there is an account is looked up later.

    A page must not tell, by its words or its time, which addresses are known. ``site`` is the
    studio's address, scheme and host.
    """
    email = email.strip().lower()
    hour_ago = timezone.now() - timedelta(hours=1)
    asked = Letter.objects.filter(kind=Letter.Kind.NEW_PASSWORD, to=email, created_at__gt=hour_ago)
    if asked.count() < RESETS_AN_HOUR:
        _post(Letter.Kind.NEW_PASSWORD, email, _("A new password"), site)


def send_due() -> int:
    """Send what waits; how many were dealt with. A failure is tried again later."""
    Letter.objects.filter(created_at__lt=Now() - KEPT).delete()
    done = 0
    for pk in list(_due().values_list("pk", flat=True)):
        letter = _claim(pk)
        if letter is not None and _send(letter):
            done += 1
    return done


def send_test(to: str) -> None:
    """Send a letter now, past the queue, to see whether the mail server takes it.

    Raises
    ------
    SMTPException, OSError
        With what the server, or the way to it, said.
    """
    send_mail(_("A letter from the studio"), TEST, None, [to])


def unsent() -> dict[str, int]:
    """How many letters wait to be sent, and how many were given up."""
    left = Letter.objects.filter(sent_at=None)
    return {
        "waiting": left.filter(attempts__lt=MAX_ATTEMPTS).count(),
        "failed": left.filter(attempts__gte=MAX_ATTEMPTS).count(),
    }


def _post(kind: str, to: str, subject: str, body: str, **more: Any) -> None:
    subject = in_one_line(subject)[:LONGEST_SUBJECT]
    Letter.objects.create(kind=kind, to=to, subject=subject, body=body, **more)
    transaction.on_commit(_wake)


def _wake() -> None:
    try:
        app.send_task(TASK, queue="sweep")
    except (OperationalError, OSError) as error:
        log.warning("the queue did not take a letter (%s); the next round will", error)


def _due() -> QuerySet[Letter]:
    rested = Q(rests_until__isnull=True) | Q(rests_until__lt=Now())
    return Letter.objects.filter(rested, sent_at=None, attempts__lt=MAX_ATTEMPTS)


def _claim(pk: int) -> Letter | None:
    letter = Letter.objects.select_related("person").filter(pk=pk).first()
    if letter is None or _waits_for_the_quiet(letter):
        return None
    rest = FIRST_REST * 2**letter.attempts
    mine = _due().filter(pk=pk, attempts=letter.attempts)
    taken = mine.update(attempts=F("attempts") + 1, rests_until=Now() + rest)
    return letter if taken else None


def _waits_for_the_quiet(letter: Letter) -> bool:
    """Let a letter rest in its person's quiet hours, whatever made it late; that is no attempt."""
    if letter.person is None:
        return False
    now = timezone.now()
    until = schedule.after_quiet(schedule.times_of(letter.person), now)
    if until > now:
        Letter.objects.filter(pk=letter.pk, sent_at=None).update(rests_until=until)
    return until > now


def headers_of(letter: Letter) -> dict[str, str]:
    """What a letter has beside subject, sender and addressee.

    Sent a second time, because a worker died before it noted the first, it is the same message by
    its Message-ID (RFC 5322, 3.6.4), which mail programs show once. Where it tells of optional
    kinds, one press in a mail program ends those (RFC 8058); that needs an https address.
    """
    name = salted_hmac("studio.letter", f"{letter.pk} {letter.created_at.isoformat()}").hexdigest()
    said = {
        "Message-ID": f"<{name}@{urlsplit(links.site_address()).hostname}>",
        "Auto-Submitted": "auto-generated",  # RFC 3834: no machine answers it
    }
    if letter.person is None or not letter.kinds:
        return said
    link = unsubscribing.link(letter.person, letter.kinds.split())
    return said | unsubscribing.headers(link)


def _send(letter: Letter) -> bool:
    body = letter.body
    if letter.kind == Letter.Kind.NEW_PASSWORD:
        body = _new_password(letter)
    try:
        if body:
            subject, headers = in_one_line(letter.subject), headers_of(letter)
            EmailMessage(subject, body, None, [letter.to], headers=headers).send()
    except (SMTPException, OSError, ValueError) as error:  # no letter holds up those behind it
        log.warning("letter %s was not taken (%s)", letter.pk, type(error).__name__)
        return False
    if letter.kind == Letter.Kind.ERASED:
        Letter.objects.filter(pk=letter.pk).delete()
    else:
        Letter.objects.filter(pk=letter.pk).update(sent_at=Now(), body="")
    return True


def _new_password(letter: Letter) -> str:
    """The words for whoever has that account; empty when nobody has."""
    person = Person.objects.filter(email=letter.to, is_active=True).first()
    if person is None:
        return ""
    uid = urlsafe_base64_encode(force_bytes(person.pk))
    token = default_token_generator.make_token(person)
    path = reverse("choose_password", kwargs={"uidb64": uid, "token": token})
    return NEW_PASSWORD.format(name=person.name, link=letter.body + path)
