"""What is made once, with the studio's own services, and then repeated in thousands of rows.

Four clips of different length are heard, decided on, commented and returned; a dozen drills are
made to order and engraved.
"""

from dataclasses import dataclass

from studio.accounts.models import Enrolment, Person
from studio.clips.models import Clip, Listening, Stage
from studio.drills import services as drill_services
from studio.drills.models import DrillVersion
from studio.notation import Request, generate
from studio.review import comments
from studio.review.comments import CommentText
from studio.review.marks import decisions
from studio.review.marks.judging import judge_listening
from studio.review.models import Decision, Return, Review
from studio.review.returning import services
from studio.review.waiting import submissions
from tests.review.long_clip import long_measurement

from .people import House

ENGINE = "1.0.0"
# (events, seconds): a short take several times, and a practice clip of three minutes
LENGTHS = ((12, 40.0), (18, 60.0), (24, 75.0), (240, 180.0))
LONG = len(LENGTHS) - 1
KEPT_MARKS = 6
KEYS = ("D major", "G major", "A major", "Bb major", "C major", "F major")
SAID = (
    ("intonation", "Wait on this one until it stands still, then move on."),
    ("bow", "A little more weight on the lower string, so that both speak."),
    ("well_done", "Here you listened before you changed. Do the same at the top."),
)


@dataclass(frozen=True)
class Pattern:
    """A clip that was heard and returned: what its copies have in common."""

    duration_s: float
    measurement: dict
    double_stops: int
    marks: int
    snapshot: dict
    decisions: tuple[Decision, ...]


def heard_patterns(place: Enrolment) -> list[Pattern]:
    return [_pattern(place, events, seconds) for events, seconds in LENGTHS]


def _pattern(place: Enrolment, events: int, seconds: float) -> Pattern:
    clip = Clip.objects.create(
        enrolment=place,
        uploaded_by=place.pupil,
        title="Pattern",
        intake=Clip.Intake.RECEIVED,
        duration_s=seconds,
        has_audio=True,
    )
    Stage.objects.create(clip=clip, kind="listening", state="heard")
    review = submissions.begin_review(clip)
    stored = long_measurement(events, seconds)
    listening = Listening.objects.create(
        clip=clip, engine=ENGINE, options={}, input_sha256="0" * 64, measurement=stored
    )
    submissions.note_heard(listening)
    returned = _answer(review, listening, place.teacher)
    review.refresh_from_db()
    decisions = tuple(review.decisions.all())
    pattern = Pattern(
        seconds,
        stored,
        review.double_stops_heard or 0,
        review.marks_found or 0,
        returned.snapshot,
        decisions,
    )
    _remove(review)
    return pattern


def _answer(review: Review, listening: Listening, teacher: Person) -> Return:
    for place, mark in enumerate(judge_listening(review, listening).marks):
        kept = Decision.Choice.KEPT if place < KEPT_MARKS else Decision.Choice.DROPPED
        decisions.decide(review, listening, mark, kept, teacher)
    for place, (kind, text) in enumerate(SAID):
        comments.add_comment(review, teacher, CommentText(kind, text, 4.0 + 9 * place))
    return services.return_clip(review, teacher, "Much steadier than last week.")


def _remove(review: Review) -> None:
    clip = review.clip
    review.decisions.all().delete()
    clip.listenings.all().delete()
    clip.delete()


def fill_shelf(house: House, many: int) -> list[DrillVersion]:
    """``many`` drills on a studio's shelf: a dozen engraved ones, over and over."""
    author, made = house.teachers[0], []
    for key in KEYS:
        for interval in ("octaves", "sixths"):
            asked = Request(key=key, interval=interval)
            made.append(
                drill_services.add_made(house.studio, author, asked, generate(asked)).newest()
            )
    more = [made[n % len(made)] for n in range(max(0, many - len(made)))]
    return [*made, *_copies(more)]


def _copies(versions: list[DrillVersion]) -> list[DrillVersion]:
    drill = versions[0].drill if versions else None
    if drill is None:
        return []
    rows = [type(drill)(studio=drill.studio, created_by=drill.created_by) for _ in versions]
    drills = type(drill).objects.bulk_create(rows)
    fields = [field.name for field in DrillVersion._meta.concrete_fields]
    copied = []
    for number, (version, new) in enumerate(zip(versions, drills, strict=True)):
        values = {name: getattr(version, name) for name in fields if name not in ("id", "drill")}
        values["title"] = f"{version.title} {number + 2}"
        copied.append(DrillVersion(drill=new, **values))
    return DrillVersion.objects.bulk_create(copied)
