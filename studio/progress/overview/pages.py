"""The overview's page."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_safe

from studio import figures
from studio.accounts import access as people

from .at_a_glance import (
    HEAVY_OPEN,
    HEAVY_OVERDUE,
    TROUBLES_DAYS,
    Glance,
    allowed_cents,
    glances_of,
    played_lately,
)
from .quiet import AT_LEAST, FEWEST_DAYS, LOOKED_BACK, WITHOUT_RHYTHM
from .troubles import FEWEST_PUPILS, FEWEST_RUNS, Trouble, troubles

SHOWS = ("all", "waiting", "quiet", "heavy")


@require_safe
def overview(request: HttpRequest) -> HttpResponse:
    """All pupils at a glance; ``?show=`` those alone who wait, are quiet or have much to do."""
    people.teaching_studio(request.user)
    now = timezone.now()
    today = timezone.localdate(now)
    glances = glances_of(request.user, now)
    groups = {
        "all": glances,
        "waiting": [one for one in glances if one.waiting],
        "quiet": [one for one in glances if one.is_quiet],
        "heavy": [one for one in glances if one.is_heavy],
    }
    show = request.GET.get("show", "")
    show = show if show in SHOWS else "all"
    found = troubles(played_lately(glances, today), allowed_cents(glances))
    context = {
        "area": "teacher",
        "show": show,
        "choices": [(name, label, len(groups[name])) for name, label in _choices()],
        "rows": [_row(one) for one in groups[show]],
        "troubles": [_trouble(one) for one in found],
        "rules": _rules(),
        "weeks": TROUBLES_DAYS // 7,
        "fewest_pupils": FEWEST_PUPILS,
    }
    return render(request, "progress/overview.html", context)


def _choices() -> list[tuple[str, str]]:
    return [
        ("all", _("All")),
        ("waiting", _("A clip waits")),
        ("quiet", _("Quiet")),
        ("heavy", _("Much to do")),
    ]


def _row(one: Glance) -> dict:
    return {
        "pk": one.place.pk,
        "name": one.place.pupil.name,
        "consented": one.place.consented,
        "waiting": one.waiting,
        "waits_since": one.waits_since,
        "is_quiet": one.is_quiet,
        "rhythm": _rhythm(one),
        "is_heavy": one.is_heavy,
        "load": _load(one),
    }


def _rhythm(one: Glance) -> str:
    rhythm = one.rhythm
    if rhythm is None:
        return _("no consent for recordings")
    if rhythm.last is None:
        return _("nothing sent in the last three months")
    since = ngettext("%(n)s day ago", "%(n)s days ago", rhythm.since) % {"n": rhythm.since}
    said = _("last clip today") if rhythm.since == 0 else _("last clip %(ago)s") % {"ago": since}
    if rhythm.usual is None:
        return said
    days = figures.number(max(1.0, rhythm.usual), 0)
    usually = ngettext("usually every day", "usually every %(n)s days", int(days)) % {"n": days}
    return f"{said}, {usually}"


def _load(one: Glance) -> str:
    said = ngettext("%(n)s drill open", "%(n)s drills open", one.open_drills) % {
        "n": one.open_drills
    }
    if not one.overdue:
        return said
    late = ngettext("%(n)s past its day", "%(n)s past their day", one.overdue)
    return f"{said}, {late % {'n': one.overdue}}"


def _trouble(one: Trouble) -> dict:
    share, most = figures.range_percent(one.share, one.share + one.uncertainty)
    return {
        "interval": one.interval,
        "share": _("%(share)s ± %(doubt)s of 100") % {"share": share, "doubt": most - share},
        "counts": _("%(off)s of %(runs)s double stops of %(pupils)s pupils") % {
            "off": one.off,
            "runs": one.runs,
            "pupils": one.pupils,
        },
    }  # fmt: skip


def _rules() -> list[str]:
    return [
        _(
            "Quiet: no clip for more than twice the pupil’s own usual gap, and for more than "
            "%(least)s days. The usual gap is the middle one between the days with a clip in the "
            "last %(weeks)s weeks; of fewer than %(days)s such days, quiet is %(without)s days. "
            "There are good reasons to be quiet: ask kindly."
        ) % {
            "least": AT_LEAST,
            "weeks": LOOKED_BACK // 7,
            "days": FEWEST_DAYS,
            "without": WITHOUT_RHYTHM,
        },
        _(
            "Much to do: %(open)s drills or more are open, or %(late)s or more are past their day."
        ) % {"open": HEAVY_OPEN, "late": HEAVY_OVERDUE},
        _(
            "Left out of tune: of the clips returned in the last %(weeks)s weeks, runs whose last "
            "playing was surely further off than the pupil’s level allows. Each pupil with "
            "%(runs)s or more of them counts once, however much was sent; after ± stands how sure "
            "that is (one standard deviation). Nothing is said of fewer than %(pupils)s pupils."
        ) % {"weeks": TROUBLES_DAYS // 7, "runs": FEWEST_RUNS, "pupils": FEWEST_PUPILS},
        _("The bounds are a choice of this program, not a standard."),
    ]  # fmt: skip
