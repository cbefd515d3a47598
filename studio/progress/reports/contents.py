"""What a report says beside the teacher's words: figures now, sentences only where it is read.

The plain document (``schema`` 1)::

    since, until    the period's days
    words, comes_next    the teacher's
    clips, playings    how many were compared
    pictures    answers: subject, outcome, change, ..., points and line
    keys    ticked off in the plan of keys within the period: key and done_on of each
    next_keys    of the next lesson of that plan
    drills    set and not done: title and due_on
    music    beginnings of drills, engraved: title, and the engraver's own SVG

It names nobody, so that who leaves the studio need not be looked for in it.
"""

from collections.abc import Iterable
from dataclasses import asdict
from datetime import date

from studio.accounts.models import Enrolment
from studio.drills import access as drills
from studio.drills.models import DrillVersion
from studio.drills.rotation.access import rotation_of
from studio.drills.rotation.overview import overview_of
from studio.progress import access
from studio.progress.chart import MOST_POINTS, Chart, Fitted, drawn, fitted
from studio.progress.playings import PlayedClip, Playings
from studio.progress.report_rows import MOST_PICTURES, TermReport
from studio.progress.subjects import Subject
from studio.progress.trends import CLOSER, FURTHER, SAME, Answers, Point, Trend, answers
from studio.progress.wording import statement

SCHEMA = 1
MEASURE = "settled"  # what a report's pictures are of
MOST_DRILLS, MOST_MUSIC = 5, 2
CLEAR = (CLOSER, FURTHER, SAME)


def played_in(enrolment: Enrolment, since: date, until: date) -> list[PlayedClip]:
    """The clips of a period, both days included, that can be seen at home: as whoever reads it."""
    clips, _ = access.played_clips(enrolment, since, at_home=True)
    return [clip for clip in clips if clip.day <= until]


def answers_of(clips: list[PlayedClip]) -> Answers:
    return answers(Playings.of(clips), MEASURE, "strings")


def choices(found: Answers) -> list[Trend]:
    """What there are pictures of: what is clear first."""
    return sorted(found.trends, key=lambda trend: trend.outcome not in CLEAR)


def proposed(found: Answers) -> list[str]:
    """The pictures of a new report: what is clear, or the first of all."""
    clear = [trend.subject.name for trend in choices(found) if trend.outcome in CLEAR]
    return (clear or [trend.subject.name for trend in found.trends[:1]])[:MOST_PICTURES]


def contents_of(report: TermReport) -> dict:
    """All that a report would say if it were given out now."""
    enrolment, clips = report.enrolment, played_in(report.enrolment, report.since, report.until)
    found = answers_of(clips)
    named = {trend.subject.name: trend for trend in found.trends}
    chosen = [named[name] for name in report.pictures if name in named]
    set_now = list(drills.queue_of(enrolment)[:MOST_DRILLS])
    keys, next_keys = _keys(enrolment, report.since, report.until)
    return {
        "schema": SCHEMA,
        "since": report.since.isoformat(),
        "until": report.until.isoformat(),
        "words": report.words,
        "comes_next": report.comes_next,
        "clips": len(clips),
        "playings": int(sum(clip.rows["runs"].sum() for clip in clips)),
        "pictures": [_picture(found, trend) for trend in chosen],
        "keys": keys,
        "next_keys": next_keys,
        "drills": [_drill(assignment) for assignment in set_now],
        "music": _music(clips, [assignment.version_id for assignment in set_now]),
    }


# -- read again ------------------------------------------------------------------------------


def trend_of(picture: dict) -> Trend:
    """An answer as it was frozen, for its sentence."""
    about = picture["subject"]
    subject = Subject(
        word=about["word"],
        strings=tuple(about["strings"]),
        key=about["key"],
        position=about["position"],
        fingers=tuple(about["fingers"]) if about["fingers"] else None,
    )
    known = ("outcome", "playings", "weeks", "since", "until", "change", "uncertainty")
    return Trend(subject, **{name: picture[name] for name in known})


def sentence_of(picture: dict, today: date) -> str:
    return statement(trend_of(picture), MEASURE, today)


def chart_of(picture: dict) -> Chart:
    points = [
        Point(week, value, doubt, playings, clip=0, at_s=0.0, weeks=weeks)
        for week, weeks, value, doubt, playings in picture["points"]
    ]
    return drawn(points, Fitted(**picture["line"]) if picture["line"] else None, MEASURE)


# -- what is frozen --------------------------------------------------------------------------


def _picture(found: Answers, trend: Trend) -> dict:
    line = fitted(trend)
    return {
        "subject": asdict(trend.subject),
        "outcome": trend.outcome,
        "playings": trend.playings,
        "weeks": trend.weeks,
        "since": trend.since,
        "until": trend.until,
        "change": trend.change,
        "uncertainty": trend.uncertainty,
        "points": [
            [point.week, point.weeks, point.value, point.doubt, point.playings]
            for point in found.points(trend, MOST_POINTS)
        ],
        "line": asdict(line) if line else None,
    }


def _keys(enrolment: Enrolment, since: date, until: date) -> tuple[list[dict], list[str]]:
    """Keys ticked off in the period, in order, and those of the next lesson of the plan."""
    rotation = rotation_of(enrolment)
    if rotation is None:
        return [], []
    planned = [
        one for each in rotation.rounds.all() for lesson in each.lessons.all()
        for one in lesson.planned
    ]  # fmt: skip
    done = sorted(
        (one.done_on, str(one.key))
        for one in planned
        if one.done_on and since <= one.done_on <= until
    )
    coming = overview_of(rotation).next
    after = [str(one.key) for one in coming.lesson.planned if not one.done_on] if coming else []
    return [{"key": key, "done_on": on.isoformat()} for on, key in done], after


def _drill(assignment) -> dict:
    due = assignment.due_on
    return {"title": assignment.version.title, "due_on": due.isoformat() if due else None}


def _music(clips: Iterable[PlayedClip], coming: list[int]) -> list[dict]:
    """The beginnings of the drill that was played most, and of the one that comes next."""
    played: dict[int, int] = {}
    for clip in clips:
        if clip.drill:
            played[clip.drill] = played.get(clip.drill, 0) + 1
    most = max(played, key=lambda drill: (played[drill], drill), default=None)
    wanted = DrillVersion.objects.only("drill", "title", "incipit", "number")
    found = []
    if most is not None:
        latest = wanted.filter(drill=most).exclude(incipit="").order_by("-number").first()
        found += [("played", latest)] if latest else []
    following = wanted.filter(pk__in=coming[:1]).exclude(incipit="").first()
    if following is not None and following.drill_id != most:
        found.append(("next", following))
    return [
        {"which": which, "title": version.title, "svg": version.incipit}
        for which, version in found[:MOST_MUSIC]
    ]
