"""Letters of what people were told: many things in one, once, and never in quiet hours."""

import email
import re
from email import policy

import pytest
from django.db import transaction
from django.utils import timezone

from studio.accounts import letters, notices, notifications
from studio.accounts.models import GuardianLink, Letter, Notification, NotificationTimes, Person
from studio.accounts.notifications import digest, kinds, telling
from tests.cast import as_person


def told(cast, to, kind="set", key="1", **more) -> None:
    said = {"about": cast.pupil, "studio": cast.studio, "by": cast.teacher, "what": "Sixths"}
    said |= {"path": f"/told/{key}/"}
    assert notifications.tell(to, kind, key=key, **said | more)


def times(person, **chosen) -> NotificationTimes:
    usual = {"quiet_from": 0, "quiet_until": 0, "time_zone": "Europe/Berlin"}
    return NotificationTimes.objects.create(person=person, **usual | chosen)


def sent() -> int:
    """A round of the worker's; how many letters were sent."""
    digest.write_due()
    return letters.send_due()


def test_many_things_make_one_letter_with_a_line_and_a_link_for_each(cast, mail, site):
    told(cast, cast.guardian, key="a")
    told(cast, cast.guardian, kind="returned", key="b")
    told(cast, cast.guardian, key="c", what="Thirds, slowly")
    assert sent() == 1
    (letter,) = mail
    assert letter.to == [cast.guardian.email]
    assert letter.subject == "News from Larkhill strings"
    lines = [line for line in letter.body.split("\n\n") if line]
    assert lines[:4] == [
        "Dear Edda Sandholm,",
        "Ottilie Brandt has set Mira Sandholm a drill: Sixths.\nhttps://studio.example/told/a/",
        "Ottilie Brandt has answered a recording of Mira Sandholm.\nhttps://studio.example/told/b/",
        "Ottilie Brandt has set Mira Sandholm a drill: Thirds, slowly.\n"
        "https://studio.example/told/c/",
    ]
    assert "https://studio.example/account/telling/" in lines[4]
    assert [line.splitlines()[0] for line in lines[5:]] == [
        "No more letters of this kind (A drill is set):",
        "No more letters of this kind (A recording is answered):",
    ]
    assert sent() == 0
    assert Notification.objects.filter(letter_due_at=None).exclude(lettered_at=None).count() == 3


def test_one_thing_is_the_subject_and_a_childs_letter_is_to_her(cast, mail, site):
    told(cast, cast.pupil)
    assert sent() == 1
    assert mail[0].subject == "Ottilie Brandt has set you a drill: Sixths"


def test_a_title_of_two_lines_makes_no_header(cast, mail, site):
    told(cast, cast.pupil, what="Sixths\r\nBcc: everybody@s.example")
    assert sent() == 1
    head = mail[0].message().as_bytes().partition(b"\n\n")[0]
    assert b"\nBcc:" not in head
    parsed = email.message_from_bytes(mail[0].message().as_bytes(), policy=policy.default)
    assert parsed["Bcc"] is None
    assert parsed["Subject"].endswith("Sixths Bcc: everybody@s.example")


def test_a_very_long_digest_leads_to_the_list(cast, mail, site):
    for number in range(digest.MOST_LINES + 2):
        told(cast, cast.pupil, key=str(number))
    assert sent() == 1
    assert mail[0].body.count("/told/") == digest.MOST_LINES + 1
    assert "There is more. All of it is here:\nhttps://studio.example/account/told/" in mail[0].body


@pytest.mark.parametrize(
    ("chosen", "since", "before", "at"),
    [
        ({"pace": "daily", "hour": 17}, "2026-03-02T10:00", "2026-03-02T15:59", "2026-03-02T16:00"),
        # Sunday evening in Berlin; on Monday at 6 there it is 5 by UTC.
        (
            {"pace": "weekly", "weekday": 0, "hour": 6},
            *("2026-03-01T22:30", "2026-03-02T04:59", "2026-03-02T05:00"),
        ),
        (
            {"quiet_from": 21, "quiet_until": 7},
            *("2026-03-02T20:30", "2026-03-03T05:59", "2026-03-03T06:00"),
        ),
        # New York, in the night in which the clock is put forward: 7 there is 11 by UTC.
        (
            {"quiet_from": 21, "quiet_until": 7, "time_zone": "America/New_York"},
            *("2026-03-08T03:00", "2026-03-08T10:59", "2026-03-08T11:00"),
        ),
    ],
)
def test_it_comes_at_the_readers_time(cast, mail, clock, chosen, since, before, at):
    times(cast.pupil, **chosen)
    for key in ("a", "b"):
        clock(since)
        told(cast, cast.pupil, key=key)
    clock(before)
    assert digest.write_due() == 0
    clock(at)
    assert digest.write_due() == 1


def test_the_page_does_not_wait(cast, mail):
    times(cast.pupil, pace="weekly")
    told(cast, cast.pupil)
    assert "has set you a drill: Sixths." in as_person(cast.pupil).get("/account/told/").text


def test_a_round_that_comes_late_still_keeps_the_quiet_hours(cast, mail, clock):
    times(cast.pupil, quiet_from=21, quiet_until=7)
    clock("2026-03-02T19:59")
    told(cast, cast.pupil)
    clock("2026-03-02T20:30")  # half past nine in Berlin: the worker was away
    assert digest.write_due() == 0
    assert Notification.objects.get().letter_due_at.isoformat() == "2026-03-03T06:00:00+00:00"


def test_a_written_letter_that_failed_rests_in_the_quiet_hours(cast, mail, clock):
    times(cast.pupil, quiet_from=21, quiet_until=7)
    clock("2026-03-02T19:59")
    told(cast, cast.pupil)
    assert digest.write_due() == 1
    clock("2026-03-02T20:01")
    letter = Letter.objects.get()
    assert letters._claim(letter.pk) is None
    letter.refresh_from_db()
    assert (letter.attempts, letter.rests_until.hour) == (0, 6)


def test_a_warning_that_something_goes_waits_too_and_what_is_of_accounts_does_not(
    cast, mail, clock
):
    times(cast.pupil, quiet_from=21, quiet_until=7)
    clock("2026-03-02T23:00")
    notices.tell_each([cast.pupil], "On 1 April this goes.", kinds.GOING)
    notices.tell_each([cast.pupil], "Your password was changed.")
    claimed = {row.subject: letters._claim(row.pk) for row in Letter.objects.all()}
    assert claimed["Something is about to be deleted"] is None
    assert claimed["About an account at the studio"] is not None


def test_other_times_hold_for_what_waits(cast, mail, clock):
    wanted = times(cast.pupil, pace="weekly", weekday=4)
    clock("2026-03-02T10:00")
    told(cast, cast.pupil)
    wanted.pace = "at_once"
    digest.keep_times(wanted)
    assert digest.write_due() == 1


# -- once, whatever is killed -------------------------------------------------------------------


def test_a_worker_that_dies_as_it_writes_leaves_all_for_the_next(cast, mail, site, monkeypatch):
    told(cast, cast.pupil)
    with monkeypatch.context() as dying:
        dying.setattr(letters, "post_of_lessons", _killed)
        with pytest.raises(KeyboardInterrupt):
            digest.write_due()
    assert not Letter.objects.exists()
    assert Notification.objects.get().letter_due_at is not None
    assert (sent(), sent(), len(mail)) == (1, 0, 1)


def test_a_worker_that_dies_after_sending_sends_the_same_message(cast, mail, site, monkeypatch):
    told(cast, cast.pupil)
    digest.write_due()
    with monkeypatch.context() as dying:
        dying.setattr(letters, "Now", _killed)  # after the server took it, before it is noted
        with pytest.raises(KeyboardInterrupt):
            letters._send(Letter.objects.get())
    assert len(mail) == 1
    Letter.objects.update(rests_until=timezone.now() - timezone.timedelta(seconds=5))
    assert letters.send_due() == 1
    # RFC 5322, 3.6.4: the message identifier is of exactly one message; a reader shows it once.
    ids = {one.message()["Message-ID"] for one in mail}
    assert len(mail) == 2
    assert len(ids) == 1
    assert re.fullmatch(r"<[0-9a-f]{40,64}@studio\.example>", ids.pop())


def test_two_rounds_at_once_write_one(cast, mail, monkeypatch):
    told(cast, cast.pupil)
    assert digest._write(cast.pupil.pk)
    assert not digest._write(cast.pupil.pk)
    assert Letter.objects.count() == 1


def test_what_is_taken_back_with_its_transaction_was_never_told(cast, mail):
    with transaction.atomic():
        told(cast, cast.pupil)
        transaction.set_rollback(True)
    assert (Notification.objects.count(), digest.write_due()) == (0, 0)


def _killed(*_args, **_more):
    raise KeyboardInterrupt


# -- to whom no more ------------------------------------------------------------------------------


@pytest.mark.parametrize("end", ["link", "place", "account", "address", "choice"])
def test_nothing_is_written_to_whom_it_concerns_no_more(cast, mail, end):
    told(cast, cast.guardian)
    yesterday = timezone.localdate() - timezone.timedelta(days=1)
    ended = {"started_on": yesterday, "ended_on": timezone.localdate()}
    if end == "link":
        GuardianLink.objects.filter(guardian=cast.guardian).update(**ended)
    elif end == "place":
        type(cast.enrolment).objects.filter(pk=cast.enrolment.pk).update(**ended)
    elif end == "choice":
        telling.choose(cast.guardian, "set", on_page=True, by_letter=False)
    else:
        gone = {"is_active": False} if end == "account" else {"email": None, "login_name": "e"}
        Person.objects.filter(pk=cast.guardian.pk).update(**gone)
    assert digest.write_due() == 0
    assert not Letter.objects.exists()
    assert not Notification.objects.exclude(letter_due_at=None).exists()


def test_queries_of_a_letter_do_not_grow_with_its_lines(cast, mail, django_assert_max_num_queries):
    for number in range(12):
        told(cast, cast.guardian, key=str(number))
    with django_assert_max_num_queries(16):
        assert digest.write_due() == 1
