"""What changes several rows: adding and editing drills, setting them, ticking them off."""

from datetime import date, timedelta
from typing import Any

from django.db import transaction
from django.db.models import Max
from django.utils import timezone

from studio.accounts.models import Enrolment, Person, Studio
from studio.accounts.names import as_stored
from studio.notation import Request, Score

from .models import Assignment, Drill, DrillVersion, Favourite
from .saying import saying_of
from .sheets import incipit
from .stretches import level_of

ONE_PRESS = timedelta(seconds=20)


@transaction.atomic
def add_drill(studio: Studio, author: Person, *, tags: str = "", **says: Any) -> Drill:
    """A new drill with its first version.

    ``says`` are fields of :class:`DrillVersion`: title and words at least. With a score, its
    instrument, the picture of its beginning, and the level where none is given, follow from it;
    unless that was worked out before (``incipit`` is given).
    """
    drill = Drill.objects.create(studio=studio, created_by=author, tags=tags)
    version = DrillVersion(drill=drill, number=1, **says)
    if "incipit" not in says:
        _follow_score(version)
    version.save()
    return drill


@transaction.atomic
def add_drill_once(studio: Studio, author: Person, **says: Any) -> Drill:
    """A new drill; the one that the same press has just made, where it was pressed twice."""
    Studio.objects.select_for_update().get(pk=studio.pk)
    since = timezone.now() - ONE_PRESS
    lately = DrillVersion.objects.filter(
        **{"drill__studio": studio, "drill__created_by": author, "drill__archived_at": None},
        **{"number": 1, "created_at__gte": since},
    ).select_related("drill")
    said = {name: value for name, value in says.items() if name not in ("tags", "level")}
    said["title"] = as_stored(said["title"])
    for version in lately:
        if all(getattr(version, name) == value for name, value in said.items()):
            return version.drill
    return add_drill(studio, author, **says)


def add_made(studio: Studio, author: Person, asked: Request, score: Score, **said: str) -> Drill:
    """A drill made to order, once; what is not ``said`` of it, it says itself."""
    usual = saying_of(asked, score)
    return add_drill_once(
        studio,
        author,
        title=said.get("title") or usual.title,
        words=said.get("words") or usual.words,
        level=said.get("level") or usual.level,
        interval=usual.interval,
        key=usual.key,
        tags=said.get("tags", ""),
        source=DrillVersion.Source.GENERATED,
        score=score.to_dict(),
        request=asked.to_dict(),
    )


def made_before(studio: Studio, asked: Request) -> DrillVersion | None:
    """What the shelf has for the same request, as it stands there, with a teacher's fingers."""
    same = DrillVersion.objects.filter(
        drill__studio=studio, drill__archived_at=None, request=asked.to_dict()
    ).select_related("drill")
    newest = (version for version in same if version.drill.newest() == version)
    return max(newest, key=lambda version: version.pk, default=None)


@transaction.atomic
def edit_drill(drill: Drill, *, tags: str | None = None, **says: Any) -> DrillVersion:
    """Change some of what a drill says; a version that was assigned is frozen, so one is added."""
    drill = Drill.objects.select_for_update().get(pk=drill.pk)
    if tags is not None and tags != drill.tags:
        drill.tags = tags
        drill.save(update_fields=["tags"])
    version = drill.versions.order_by("-number").first()
    if version.assignments.exists():
        version.pk, version.number = None, version.number + 1
        version.created_at, version._state.adding = timezone.now(), True
    for field, value in says.items():
        setattr(version, field, value)
    if "score" in says:
        _follow_score(version)
    version.save()
    return version


def _follow_score(version: DrillVersion) -> None:
    """What a version's score says of it: instrument, level and the picture of its beginning."""
    score = version.page
    version.incipit = incipit(score) if score else ""
    if score:
        version.instrument = score.instrument
        version.level = version.level or level_of(score)


def archive_drill(drill: Drill) -> None:
    """Take a drill off the shelf. What was set stays set."""
    Drill.objects.filter(pk=drill.pk, archived_at=None).update(archived_at=timezone.now())


@transaction.atomic
def set_drill(
    version: DrillVersion,
    enrolment: Enrolment,
    teacher: Person,
    *,
    due_on: date | None = None,
    goal: str = "",
    tolerance_cents: int | None = None,
    share_percent: int | None = None,
    playings: int | None = None,
    single_notes: str = "",
    published: bool = False,
) -> Assignment:
    """Put a drill at the end of a pupil's queue; hidden until ``published``.

    What counts as done: ``goal`` in words; and ``share_percent`` of the written notes within
    ``tolerance_cents``, each played ``playings`` times. ``single_notes`` says by which tuning those
    are judged.
    """
    last = enrolment.assignments.aggregate(last=Max("position"))["last"] or 0
    return Assignment.objects.create(
        version=version,
        enrolment=enrolment,
        set_by=teacher,
        due_on=due_on,
        goal=goal,
        tolerance_cents=tolerance_cents,
        share_percent=share_percent,
        playings=playings,
        single_notes=single_notes or "",
        position=last + 1,
        published_at=timezone.now() if published else None,
    )


@transaction.atomic
def copy_drill(drill: Drill, author: Person) -> Drill:
    """A drill of its own that says the same; the copy may then be changed."""
    version = DrillVersion.objects.filter(drill=drill).order_by("-number").first()
    copy = Drill.objects.create(studio=drill.studio, created_by=author, tags=drill.tags)
    version.pk, version.drill, version.number = None, copy, 1
    version.created_at, version._state.adding = timezone.now(), True
    version.title = f"{version.title[:112]}, a copy"
    version.save()
    return copy


def keep_at_hand(drill: Drill, person: Person, keep: bool) -> None:
    """Make a drill one of a teacher's favourites, or no longer."""
    if keep:
        Favourite.objects.get_or_create(person=person, drill=drill)
    else:
        Favourite.objects.filter(person=person, drill=drill).delete()


@transaction.atomic
def set_drill_now(
    version: DrillVersion, enrolment: Enrolment, teacher: Person, **goals: Any
) -> Assignment:
    """Put a drill in a pupil's queue at once; what stands open there already gets the new goals."""
    Enrolment.objects.select_for_update().get(pk=enrolment.pk)
    standing = enrolment.assignments.filter(
        version=version, done_at=None, published_at__isnull=False
    ).first()
    if standing is None:
        return set_drill(version, enrolment, teacher, published=True, **goals)
    # One that waits for the end of a return's delay is no longer to wait.
    goals["published_at"] = min(standing.published_at, timezone.now())
    goals["changed_at"] = timezone.now()
    for name, value in goals.items():
        setattr(standing, name, value)
    standing.save(update_fields=list(goals))
    return standing


def tick_off(assignment: Assignment, done: bool = True) -> None:
    """Mark an assignment as done, or open it again."""
    Assignment.objects.filter(pk=assignment.pk).update(done_at=timezone.now() if done else None)
