"""The page Service: how the machine and its work are, for whoever looks after them.

It shows numbers and ids, and nothing of clips or people.
"""

import platform
import shutil
from dataclasses import dataclass

import django
from django.conf import settings
from django.contrib import messages
from django.db import connection
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext
from django.views.decorators.http import require_POST, require_safe

from studio import __version__, figures
from studio.accounts import access, letters
from studio.clips.models import Upload
from studio.clips.processing import availability, rehearing
from studio.clips.upkeep import runs
from studio.jobs import dead_letters
from studio.jobs.rows import Leased
from studio.translating import gettext_lazy
from studio.workers import pace, signs
from studio.workers.models import Worker

from . import parts, retrying, work

WORDS = {
    "listening": gettext_lazy("Listening"),
    "examining": gettext_lazy("First look"),
    "rehearing": gettext_lazy("Hearing anew"),
    "playback": gettext_lazy("Full picture"),
    "small": gettext_lazy("Smaller picture"),
    "scorereading": gettext_lazy("Reading a page of music"),
    "enclosure": gettext_lazy("Replies and drawings"),
    "reportprint": gettext_lazy("Printing a report"),
    "copy": gettext_lazy("A copy of what is kept"),
    "erasurejob": gettext_lazy("Erasing"),
}

PARTS = {
    "database": gettext_lazy("Database"),
    "queue": gettext_lazy("Queue"),
    "store": gettext_lazy("Store"),
}
ENDED = {Leased.FAILED: gettext_lazy("failed"), Leased.PARKED: gettext_lazy("parked")}


@dataclass(frozen=True, slots=True)
class Shown:
    """A worker, and whether it gave a sign of life lately."""

    worker: Worker
    is_alive: bool


@require_safe
def service(request: HttpRequest) -> HttpResponse:
    access.require_operator(request.user)
    lines = work.lines()
    context = {
        "area": "operator",
        "parts": {PARTS[name]: trouble for name, trouble in parts.troubles().items()},
        "absence": availability.watch(),
        "lines": [(WORDS.get(line.kind, line.kind), line) for line in lines],
        "failed": [
            (WORDS.get(one.kind, one.kind), ENDED[one.state], one) for one in retrying.failed()
        ],
        "workers": _workers(),
        "earlier": rehearing.work_of(rehearing.outdated()),
        "by_itself": settings.HEAR_ANEW,
        "speed": pace.recent(availability.QUEUE),
        "letters": letters.unsent(),
        "mail": bool(settings.MAIL),
        "uploads": Upload.objects.filter(clip=None).count(),
        "messages_parked": sum(1 for _ in dead_letters.parked_messages()),
        "disks": _disks(),
        "versions": _versions(),
        "upkeep": [
            (gettext("Last backup"), runs.last_backup()),
            (gettext("Last drill"), runs.last_drill()),
        ],
    }
    return render(request, "operations/service.html", context)


@require_POST
def try_again(request: HttpRequest) -> HttpResponse:
    """Let failed work be tried from the beginning: one row, or all."""
    access.require_operator(request.user)
    again = retrying.try_again(request.POST.get("name", ""), request.user)
    if again:
        many = figures.count(again, "piece of work is", "pieces of work are")
        said = gettext("%(many)s tried again within a minute.") % {"many": many}
        messages.success(request, said)
    else:
        said = gettext("That is not failed any more: it was tried again already.")
        messages.warning(request, said)
    return redirect("operator")


def _workers() -> list[Shown]:
    alive = set(signs.alive().values_list("pk", flat=True))
    return [Shown(worker, worker.pk in alive) for worker in Worker.objects.all()]


def _disks() -> list[tuple[str, str, str]]:
    """Where, how much is free, how much is used."""
    places = {gettext("Data folder"): settings.STUDIO_DATA}
    if not settings.OBJECT_STORE:
        places |= {gettext("Recordings"): settings.MEDIA_ROOT}
    found = []
    for name, folder in places.items():
        try:
            usage = shutil.disk_usage(folder)
        except OSError:
            continue
        found.append((name, figures.megabytes(usage.free), figures.megabytes(usage.used)))
    return found


def _versions() -> list[tuple[str, str]]:
    return [
        ("Studio", __version__),
        ("Python", platform.python_version()),
        ("Django", django.get_version()),
        (gettext("Database"), f"{connection.display_name} {_database_version()}"),
    ]


def _database_version() -> str:
    return ".".join(str(part) for part in connection.get_database_version())
