"""A pupil's progress in words, with the picture behind each answer."""

from dataclasses import dataclass
from datetime import date, timedelta

from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from studio import figures
from studio.accounts import access as people
from studio.accounts.models import Enrolment
from studio.drills.form_values import query_of
from studio.theory import VIOLIN

from . import access, fingerboard, wording
from .chart import Chart, chart_of
from .fingerboard import spots_of
from .fingerboard_chart import chart_of_spots
from .hand.causes import WEEKS, finding_of
from .hand.drills import treatments
from .hand.wording import how_sure, sentence
from .playings import Playings
from .reports.access import given_to
from .subjects import WAYS
from .then_now import ThenNow, then_now
from .trends import CLOSER, FURTHER, MEASURES, SAME, Answers, Trend, answers

PERIODS = {"year": timedelta(days=366), "all": timedelta(days=36600)}  # the first unless asked
CLEAR = (CLOSER, FURTHER, SAME)


@dataclass(frozen=True, slots=True)
class Asked:
    """What a page is asked for; what is not known is as usual."""

    measure: str
    by: str
    period: str
    show: str

    @classmethod
    def of(cls, said: QueryDict) -> "Asked":
        return cls(
            measure=_one_of(said.get("measure"), MEASURES, MEASURES[0]),
            by=_one_of(said.get("by"), WAYS, "strings"),
            period=_one_of(said.get("period"), tuple(PERIODS), "year"),
            show=said.get("show", ""),
        )

    def query(self, show: str) -> str:
        said = QueryDict(mutable=True)
        said.update({"measure": self.measure, "by": self.by, "period": self.period, "show": show})
        return said.urlencode()


@dataclass(frozen=True, slots=True)
class Row:
    """One answer as it is read."""

    trend: Trend
    subject: str
    statement: str
    why_not: str
    query: str
    is_shown: bool
    is_part: bool


@require_safe
def pupil(request: HttpRequest, pk: int) -> HttpResponse:
    return _page(request, access.taught_place(request.user, pk), "teacher")


@require_safe
def own(request: HttpRequest) -> HttpResponse:
    return _page(request, people.own_enrolment(request.user), "pupil")


@require_safe
def child(request: HttpRequest, pk: int) -> HttpResponse:
    return _page(request, people.guarded_enrolment(request.user, pk), "guardian")


def _page(request: HttpRequest, enrolment: Enrolment, area: str) -> HttpResponse:
    asked, today = Asked.of(request.GET), timezone.localdate()
    since = today - PERIODS[asked.period]
    clips, older = access.played_clips(enrolment, since, at_home=area != "teacher")
    playings = Playings.of(clips)
    found = answers(playings, asked.measure, asked.by)
    shown = _shown(found, asked)
    heard = then_now(found, shown)
    rows = [_row(trend, asked, trend is shown, today) for trend in found.trends]
    context = {
        "area": area,
        "enrolment": enrolment,
        "asked": asked,
        "choices": _choices(asked),
        "clear": [row for row in rows if row.trend.outcome in CLEAR],
        "unclear": [row for row in rows if row.trend.outcome not in CLEAR],
        "changed": [wording.changed(each, today) for each in found.changed],
        "older": older,
        "clips": len(clips),
        "shown": next((row for row in rows if row.is_shown), None),
        "chart": _chart(found, shown, asked),
        "board": chart_of_spots(spots_of(playings), playings.clips),
        **_worked_on(playings, enrolment, area),
        "board_weeks": fingerboard.WEEKS,
        "board_least": figures.number(fingerboard.LEAST_CENTS),
        "reports": () if area == "teacher" else given_to(enrolment),
        "heard": heard,
        "heard_twice": _said(heard, today),
    }
    return render(request, "progress/progress.html", context)


def _shown(found: Answers, asked: Asked) -> Trend | None:
    """The answer whose picture is asked for; else the first that is clear, or the first."""
    named = {trend.subject.name: trend for trend in found.trends}
    clear = (trend for trend in found.trends if trend.outcome in CLEAR)
    usual = next(clear, None) or next(iter(found.trends), None)
    return named.get(asked.show, usual)


def _row(trend: Trend, asked: Asked, is_shown: bool, today: date) -> Row:
    return Row(
        trend=trend,
        subject=wording.subject(trend.subject),
        statement=wording.statement(trend, asked.measure, today),
        why_not=wording.why_not(trend),
        query=asked.query(trend.subject.name),
        is_shown=is_shown,
        is_part=trend.subject.is_part,
    )


def _chart(found: Answers, shown: Trend | None, asked: Asked) -> Chart | None:
    return chart_of(found, shown, asked.measure) if shown is not None else None


def _worked_on(playings: Playings, enrolment: Enrolment, area: str) -> dict:
    """What explains the last weeks, and for the teacher the drills that treat it."""
    found = finding_of(playings)
    cause = found.cause
    if cause is None:
        return {"hand_too_little": found.too_little, "hand_weeks": WEEKS}
    context = {"hand": sentence(cause), "hand_sure": how_sure(cause), "hand_weeks": WEEKS}
    if area == "teacher":
        own = enrolment.instrument()
        context["hand_drills"] = [
            {"label": each.label, "query": query_of(each.request, enrolment)}
            for each in treatments(cause, own.kind if own else VIOLIN.name)
        ]
    return context


def _said(heard: ThenNow | None, today: date) -> list[dict]:
    """Both playings with what their buttons say."""
    if heard is None:
        return []
    words = {"then": _("Then, %(day)s"), "now": _("Now, %(day)s")}
    return [
        {
            "clip": playing.clip,
            "address": playing.address,
            "start_s": playing.start_s,
            "end_s": playing.end_s,
            "said": words[which] % {"day": figures.day(playing.day, today)},
        }
        for which, playing in (("then", heard.then), ("now", heard.now))
    ]


def _choices(asked: Asked) -> list[dict]:
    """The choices above the answers: a name, a label, and what can be chosen."""
    return [
        {
            "name": name,
            "label": label,
            "options": [(value, words, value == getattr(asked, name)) for value, words in options],
        }
        for name, label, options in wording.CHOICES
    ]


def _one_of(said: str | None, known: tuple[str, ...], usual: str) -> str:
    return said if said in known else usual
