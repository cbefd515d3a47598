"""Sessions that know whose they are: the session engine, and what a person sees of her own.

The row itself says who is logged in, on what, since when, and when it was last used; so ending a
session is deleting its row, and no second list can disagree.
"""

import hashlib
import re
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.contrib.auth import SESSION_KEY
from django.contrib.sessions.backends.db import SessionStore as DatabaseStore
from django.db.models import CharField, DateTimeField, QuerySet
from django.utils import timezone
from django.utils.dateparse import parse_datetime
from django.utils.translation import gettext as _

from studio.translating import gettext_lazy

from .prepared import Given, Prepared

USED_WITHIN = timedelta(minutes=5)  # how exactly the last use is known
LONGEST_AGENT = 300
CLEAR = "clear_browser"  # in a session: the next page clears what the browser kept

# The first that is found names it: a browser also calls itself what it is compatible with.
BROWSERS = (
    ("EdgA?/|EdgiOS/", "Edge"),
    ("OPR/|Opera", "Opera"),
    ("SamsungBrowser/", gettext_lazy("Samsung Internet")),
    ("Firefox/|FxiOS/", "Firefox"),
    ("Chrome/|CriOS/|Chromium/", "Chrome"),
    ("Safari/", "Safari"),
)
DEVICES = (
    ("iPhone", gettext_lazy("an iPhone")),
    ("iPad", gettext_lazy("an iPad")),
    ("Android.*Mobile", gettext_lazy("an Android phone")),
    ("Android", gettext_lazy("an Android tablet")),
    ("Windows", "Windows"),
    ("CrOS", "a Chromebook"),
    ("Macintosh", "a Mac"),
    ("Linux", "Linux"),
)


class SessionStore(DatabaseStore):
    """Django's sessions in the database, in rows that name the person."""

    used_at: datetime | None = None

    @classmethod
    def get_model_class(cls):
        from .models import OpenSession

        return OpenSession

    def load(self) -> dict:
        row = self._get_session_from_db()
        if row is None:
            return {}
        self.used_at = row.used_at
        return self.decode(row.session_data)

    def _get_session_from_db(self):
        """As Django does it, without making the query anew at every request."""
        now = timezone.now()
        row = _in_force.first(self.model, key=self.session_key, now=now)
        if row is None:
            self._session_key = None
        return row

    def create_model_instance(self, data: dict):
        row = super().create_model_instance(data)
        row.person_id = data.get(SESSION_KEY)
        row.agent = data.get("agent", "")
        row.since = parse_datetime(data.get("since", ""))
        return row

    def note_use(self) -> None:
        """Write down that it is used, when that was not written for a while."""
        now = timezone.now()
        if self.used_at is None or now - self.used_at < USED_WITHIN:
            return
        self.used_at = now
        self.model.objects.filter(pk=self.session_key).update(used_at=now)


@Prepared
def _in_force(model) -> QuerySet:
    key, now = Given("key", CharField()), Given("now", DateTimeField())
    return model.objects.filter(session_key=key, expire_date__gt=now)


@dataclass(frozen=True, slots=True)
class Seen:
    """A session as its owner sees it; ``name`` tells it apart and opens nothing."""

    name: str
    device: str
    since: datetime | None
    used_at: datetime
    here: bool


def begin(session, agent: str) -> None:
    """Note on what and when somebody logged in."""
    session["agent"] = agent[:LONGEST_AGENT]
    session["since"] = timezone.now().isoformat()


def of(person, here: str | None) -> list[Seen]:
    """The sessions in which ``person`` is logged in, the present one first, then by last use."""
    rows = _open(person).order_by("-used_at")
    seen = [
        Seen(_name(row.pk), device(row.agent), row.since, row.used_at, row.pk == here)
        for row in rows
    ]
    return sorted(seen, key=lambda one: not one.here)


def end(person, name: str) -> int:
    """End the one of this name; how many that were (0 when it has ended meanwhile)."""
    keys = [row.pk for row in _open(person).only("pk") if _name(row.pk) == name]
    return _open(person).filter(pk__in=keys).delete()[0]


def end_all(person, but: str | None = None) -> int:
    """End all of a person's sessions, or all but one; how many that were."""
    return person.open_sessions.exclude(pk=but or "").delete()[0]


def device(agent: str) -> str:
    """What a person would call it: "Firefox on Windows"."""
    browser = next((name for sign, name in BROWSERS if re.search(sign, agent)), "")
    machine = next((name for sign, name in DEVICES if re.search(sign, agent)), "")
    if not browser and not machine:
        return _("An unknown device")
    return f"{browser or 'A browser'} on {machine}" if machine else browser


def _open(person):
    return person.open_sessions.filter(expire_date__gt=timezone.now())


def _name(key: str) -> str:
    return hashlib.sha256(f"session:{key}".encode()).hexdigest()[:16]
