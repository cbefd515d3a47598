"""Letters of what people were told: one for a person, with a line and a link for each thing.

A person's rows that are due are claimed and written in one transaction, so a worker that is killed
leaves either a letter and told rows, or neither; the next round goes on. The letter is sent by
:mod:`studio.accounts.letters`, with a lease.
"""

from collections.abc import Iterable

from django.db import transaction
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from studio.accounts import letters, links
from studio.accounts.models import Notification, NotificationTimes, Person

from . import reading, schedule, unsubscribing
from .kinds import KINDS

MOST_LINES = 40  # of one letter; the list in the page has the rest


def write_due() -> int:
    """Write the letters that are due; how many."""
    waiting = Notification.objects.filter(letter_due_at__lte=timezone.now())
    people = waiting.order_by("to").values_list("to", flat=True).distinct()
    return sum(_write(pk) for pk in list(people))


def keep_times(times: NotificationTimes) -> None:
    """Keep a person's pace, quiet hours and zone; letters that wait come by them from now on."""
    with transaction.atomic():
        times.save()
        waiting = Notification.objects.filter(to=times.person_id, letter_due_at__isnull=False)
        due = schedule.due_at(times, timezone.now())
        waiting.update(letter_due_at=due)


@transaction.atomic
def _write(pk: int) -> bool:
    person = Person.objects.select_for_update(no_key=True).get(pk=pk)  # one letter at a time
    now = timezone.now()
    due = Notification.objects.filter(to=person, letter_due_at__lte=now)
    until = schedule.after_quiet(schedule.times_of(person), now)
    if until > now:  # the round comes late: the quiet hours have begun meanwhile
        due.update(letter_due_at=until)
        return False
    found = list(due.values_list("pk", flat=True))  # what is told from here on is for the next
    due = Notification.objects.filter(pk__in=found)
    rows = list(reading.still_hers(due).order_by("created_at", "pk"))
    due.update(letter_due_at=None)
    due.filter(pk__in=[row.pk for row in rows]).update(lettered_at=now)
    if not rows or not person.email or not person.is_active:
        return False
    kinds = list(dict.fromkeys(row.kind for row in rows))
    letters.post_of_lessons(person, subject(rows), body(person, rows, kinds), kinds)
    return True


def subject(rows: list[Notification]) -> str:
    """What happened where it is one thing, else from where the letter comes."""
    if len(rows) == 1:
        return reading.sentence(rows[0]).rstrip(".")
    studios = list(dict.fromkeys(str(row.studio) for row in rows))
    if len(studios) > 1:
        return _("News from your studios")
    return _("News from %(studio)s") % {"studio": studios[0]}


def body(person: Person, rows: list[Notification], kinds: Iterable[str]) -> str:
    """A line and a link for each, then what the letter is and how to get none of its kind."""
    site = links.site_address()
    parts = [_("Dear %(name)s,") % {"name": person.name}]
    parts += [f"{reading.sentence(row)}\n{site}{row.path}" for row in rows[:MOST_LINES]]
    if len(rows) > MOST_LINES:
        page = site + reverse("told")
        parts.append(_("There is more. All of it is here:") + f"\n{page}")
    chosen = site + reverse("telling")
    parts.append("-- \n" + _("What you are told, and when, you choose here:") + f"\n{chosen}")
    for name in kinds:
        end = _("No more letters of this kind (%(title)s):") % {"title": KINDS[name].title}
        parts.append(f"{end}\n{unsubscribing.link(person, [name])}")
    return "\n\n".join(parts) + "\n"
