"""A report as it is read, on a page or on paper: frozen figures into sentences and pictures."""

from dataclasses import dataclass
from datetime import date

from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from studio import figures
from studio.accounts.names import listed
from studio.progress.chart import Chart
from studio.theory import Key

from . import contents


@dataclass(frozen=True, slots=True)
class Picture:
    sentence: str
    chart: Chart

    @property
    def caption(self) -> str:
        weeks = self.chart.weeks
        return ngettext(
            "In %(unit)s; 0 is in tune. Each point is the middle of a week, and its bar shows how "
            "sure it is.",
            "In %(unit)s; 0 is in tune. Each point is the middle of %(weeks)d weeks, and its bar "
            "shows how sure it is.",
            weeks,
        ) % {"unit": self.chart.unit, "weeks": weeks}


@dataclass(frozen=True, slots=True)
class Music:
    title: str
    svg: SafeString


@dataclass(frozen=True, slots=True)
class Reading:
    """Everything in words of the language that holds now."""

    period: str
    compared: str
    words: tuple[str, ...]
    comes_next: tuple[str, ...]
    pictures: tuple[Picture, ...]
    keys: str
    next_keys: str
    drills: tuple[str, ...]
    music: tuple[Music, ...]


def read(frozen: dict) -> Reading:
    since, until = (date.fromisoformat(frozen[name]) for name in ("since", "until"))
    return Reading(
        period=_("%(since)s to %(until)s")
        % {"since": figures.long_date(since), "until": figures.long_date(until)},
        compared=_compared(frozen["clips"], frozen["playings"]),
        words=paragraphs(frozen["words"]),
        comes_next=paragraphs(frozen["comes_next"]),
        pictures=tuple(
            Picture(contents.sentence_of(each, until), contents.chart_of(each))
            for each in frozen["pictures"]
        ),
        keys=listed(_key(one["key"]) for one in frozen["keys"]),
        next_keys=listed(_key(name) for name in frozen["next_keys"]),
        drills=tuple(_drill(each) for each in frozen["drills"]),
        music=tuple(_music(each) for each in frozen["music"]),
    )


def paragraphs(text: str) -> tuple[str, ...]:
    """Plain text cut at its empty lines; a line end within one stays."""
    blocks = text.replace("\r\n", "\n").split("\n\n")
    return tuple(block.strip("\n") for block in blocks if block.strip())


def _compared(clips: int, playings: int) -> str:
    counted = ngettext("%(count)d clip", "%(count)d clips", clips) % {"count": clips}
    played = ngettext("%(count)d playing", "%(count)d playings", playings) % {"count": playings}
    return _("From %(clips)s with %(playings)s.") % {"clips": counted, "playings": played}


def _key(name: str) -> str:
    return Key.parse(name).name


def _drill(said: dict) -> str:
    if not said["due_on"]:
        return str(said["title"])
    on = figures.long_date(date.fromisoformat(said["due_on"]))
    return _("%(title)s, by %(day)s") % {"title": said["title"], "day": on}


def _music(said: dict) -> Music:
    """The engraver's own markup, as it is kept with each drill."""
    titles = {"played": _("Played most: %(title)s"), "next": _("Comes next: %(title)s")}
    return Music(titles[said["which"]] % {"title": said["title"]}, mark_safe(said["svg"]))
