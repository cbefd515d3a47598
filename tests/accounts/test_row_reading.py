"""Objects of a prepared query are those that Django makes of the same rows, in every part."""

import pytest
from django.db import connection
from django.db.models import BigIntegerField, CharField, Count, Prefetch, Value
from django.db.models.signals import post_init
from django.test.utils import CaptureQueriesContext

from studio.accounts.models import Enrolment, Person
from studio.accounts.prepared import Given, Prepared
from studio.clips import access as clips
from studio.clips.models import Clip, Stage
from studio.review.models import Review
from tests.cast import make_clip

EVERYBODY = Person.objects.order_by("pk")
STATES = Prefetch("stages", Stage.objects.only("state").order_by("-kind"))
QUERIES = {
    "objects": EVERYBODY,
    "some columns": Enrolment.objects.select_related("pupil").only("level", "pupil__name"),
    "without one": Clip.objects.defer("info").select_related("enrolment__studio", "uploaded_by"),
    "what another names": Review.objects.select_related("clip__enrolment__pupil", "taken_by"),
    "named by another": Clip.objects.select_related("review"),
    "with figures": Clip.objects.annotate(many=Count("stages"), word=Value("x", CharField())),
    "with a condition": clips.clips_of(Given("place", BigIntegerField())),
    "what belongs to it": Clip.objects.prefetch_related("stages", "renditions"),
    "what belongs to what it names": Review.objects.select_related("clip").prefetch_related(
        "clip__stages"
    ),
    "some of what belongs to it": Clip.objects.prefetch_related(STATES),
    "what Django has to ask": Review.objects.prefetch_related("clip__enrolment"),
    "values": EVERYBODY.values("name", "pk"),
    "tuples": Clip.objects.values_list("pk", "created_at", "enrolment__pupil__name"),
    "single values": Clip.objects.values_list("created_at", flat=True),
    "apart": Clip.objects.order_by("enrolment__pupil__name").values("title").distinct(),
    "nothing": Person.objects.filter(name="Nobody"),
}


@pytest.fixture
def lessons(cast):
    for title in ("One", "Two"):
        make_clip(cast.enrolment, title=title)
    Review.objects.filter(clip__title="One").update(taken_by=cast.teacher)
    make_clip(cast.enrolment, title="Refused", intake=Clip.Intake.REFUSED)
    return cast


def parts(one):
    """All that an object holds, what it names and what belongs to it, however deep."""
    if not hasattr(one, "_state"):
        return one
    held = {name: value for name, value in vars(one).items() if not name.startswith("_")}
    named = {name: parts(other) for name, other in _named(one).items()}
    theirs = {
        name: ([parts(row) for row in rows._result_cache], str(rows.query))
        for name, rows in getattr(one, "_prefetched_objects_cache", {}).items()
    }
    return type(one), held, named, theirs, one._state.adding, one._state.db


def _named(one):
    """Without the way back, which has no end."""
    ways = {field.remote_field for field in one._meta.concrete_fields if field.remote_field}
    back = {way.cache_name for way in ways}
    cached = getattr(one._state, "fields_cache", {})
    return {name: other for name, other in cached.items() if name not in back | {"clip"}}


@pytest.mark.parametrize("name", QUERIES)
def test_they_are_as_django_makes_them(lessons, name):
    rows = QUERIES[name]
    asked = Prepared(lambda: rows)
    if name == "with a condition":
        rows = clips.clips_of(lessons.enrolment)
    with CaptureQueriesContext(connection) as usual:
        wanted = [parts(one) for one in rows.all()]
    for _ in range(2):
        with CaptureQueriesContext(connection) as seen:
            found = [parts(one) for one in asked(place=lessons.enrolment.pk)]
        assert len(seen) == len(usual)
        assert found == wanted
    assert bool(wanted) is (name != "nothing")


def test_what_belongs_to_it_knows_whose_it_is(lessons):
    asked = Prepared(lambda: Clip.objects.order_by("title").prefetch_related("stages"))
    first = asked()[0]
    with CaptureQueriesContext(connection) as seen:
        assert {stage.clip for stage in first.stages.all()} == {first}
    assert not seen
    others = set(first.stages.filter(kind="listening"))  # asked anew, of this clip alone
    assert {stage.clip_id for stage in others} == {first.pk}


def test_who_listens_to_objects_being_made_hears_of_each(lessons):
    asked, made = Prepared(lambda: EVERYBODY), []
    asked()

    def listen(instance, **kwargs):
        made.append(instance.pk)

    post_init.connect(listen, sender=Person)
    try:
        assert [one.pk for one in asked()] == made
    finally:
        post_init.disconnect(listen, sender=Person)
