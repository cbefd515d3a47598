"""What a teacher decided about a clip stays decided when the clip is heard anew, for real.

``stored/engine-1.1.1.json`` is what engine 1.1.1 heard in the sample clip *octaves in B flat*
(``sample_media``, as sound alone, AAC), with its tracks and without the alternatives it looked at.
The engine of now hears the same recording.
"""

import json
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from unittest import mock

import pytest

from sample_media import make
from studio import intonation
from studio.clips import services, tasks
from studio.clips.models import Clip, Listening, Stage
from studio.clips.processing import rehearing
from studio.intonation import Measurement
from studio.review.comments import CommentText, add_comment
from studio.review.marks import decisions, hand_marks
from studio.review.marks.hand_marks import HandMarkText
from studio.review.marks.judging import judged
from studio.review.models import Decision
from studio.review.returning import snapshots
from tests.cast import as_person
from tests.review.heard_clip import review_of

STORED = Path(__file__).with_name("stored") / "engine-1.1.1.json"
PLAN = replace(make.OCTAVES, suffix=".m4a", picture=False)


@pytest.fixture(scope="module")
def recording(tmp_path_factory) -> bytes:
    return make.build_plan(PLAN, tmp_path_factory.mktemp("heard-anew")).read_bytes()


@pytest.fixture(scope="module", autouse=True)
def _heard_once() -> Iterator[None]:
    """All tests here have one recording: what the engine hears in it is kept for the next."""
    kept: dict[tuple, Measurement] = {}

    def listen(y, sr, options, *, on_progress):
        on_progress(1.0)
        asked = y.tobytes(), sr, options
        if asked not in kept:
            kept[asked] = really(y, sr, options)
        return kept[asked]

    really = intonation.listen
    with mock.patch.object(intonation, "listen", listen):
        yield


@pytest.fixture
def heard(cast, recording, media_root, no_queue) -> Clip:
    """The recording with what the earlier engine heard in it."""
    clip = services.receive(cast.enrolment, cast.pupil, [recording], "octaves.m4a")
    heard_before(clip, json.loads(STORED.read_text(encoding="utf-8")))
    Stage.objects.filter(clip=clip, kind="listening").update(state="heard")
    return clip


def heard_before(clip: Clip, measurement: dict) -> None:
    Listening.objects.create(
        clip=clip,
        engine="0.9.0",  # so that it is heard anew by whatever engine is at work now
        options=measurement["options"],
        input_sha256=clip.original.sha256,
        measurement=measurement,
    )


def hear_anew(clip: Clip) -> None:
    assert rehearing.ask_for(rehearing.outdated()) == 1
    tasks.hear_clip_anew(clip_id=str(clip.pk))
    assert clip.listenings.count() == 2


def decide(clip: Clip, teacher, number: int, choice: str, *words, **more) -> Decision:
    found = judged(review_of(clip))
    mark = found.marks[number]
    return decisions.decide(review_of(clip), found.listening, mark, choice, teacher, *words, **more)


def test_every_decision_finds_its_mark_again_or_is_shown_by_itself(cast, heard):
    """An engine may be too unsure of a moment to mark it; most it must find."""
    assert len(judged(review_of(heard)).marks) == 4
    own = {"span": (27.5, 28.2)}
    made = [
        decide(heard, cast.teacher, 0, "kept"),
        decide(heard, cast.teacher, 1, "kept", "Reach for the upper F.", **own),
        decide(heard, cast.teacher, 2, "dropped"),
        decide(heard, cast.teacher, 3, "kept"),
    ]
    before = {mark.decision.pk: mark for mark in judged(review_of(heard)).marks}
    hear_anew(heard)
    found = judged(review_of(heard))
    decided = {mark.decision.pk: mark for mark in found.marks if mark.decision}
    assert len(decided) >= 3
    for number, new in decided.items():
        old = before[number]
        assert (new.code, new.midis, new.choice) == (old.code, old.midis, old.choice)
        assert (new.start_s, new.end_s) == pytest.approx((old.start_s, old.end_s), abs=0.25)
    edited = decided[made[1].pk]
    assert (edited.words, edited.shown) == ("Reach for the upper F.", (27.5, 28.2))
    left = {decision.pk for decision in found.unmatched}
    assert decided.keys() | left == before.keys()
    page = as_person(cast.teacher).get(f"/clips/{heard.pk}/").content.decode()
    assert page.count("as it is heard and judged now, this moment is not marked") == len(left)
    for mark in found.marks:
        at = [d for d in made if d.start_s < mark.end_s and mark.start_s < d.end_s]
        assert mark.decision or not at, "nothing decided is asked again"
    kept = [one for one in made if one.choice == "kept"]
    assert len(snapshots.take(review_of(heard), found)["moments"]) == len(kept)


def said_in(review) -> list[dict]:
    """What would be returned, but for what is heard there."""
    moments = snapshots.take(review, judged(review))["moments"]
    return [{name: each[name] for name in each if name != "heard"} for each in moments]


def test_hand_marks_and_comments_stay_at_their_times(cast, heard):
    review = review_of(heard)
    hand_marks.add(review, cast.teacher, HandMarkText("The bow slips.", 33.0, 34.5), "")
    add_comment(review, cast.teacher, CommentText("bow", "Slower here", 12.25, 14.0))
    before = said_in(review)
    hear_anew(heard)
    assert said_in(review_of(heard)) == before
    assert [(one["start_s"], one["end_s"]) for one in before] == [(12.25, 14.0), (33.0, 34.5)]


def test_a_kept_mark_that_is_not_proposed_any_more_is_shown_and_returned(cast, heard):
    """The earlier engine had heard the last B flat, which is in tune, 40 cents wide."""
    stored = json.loads(STORED.read_text(encoding="utf-8"))
    wrong = next(each for each in stored["events"] if each["kind"] == "double_stop")
    wrong["voices"][1]["f0_hz"] *= 2 ** (40 / 1200)
    wrong["intervals"][0]["size_cents"] += 40.0
    heard.listenings.all().delete()
    heard_before(heard, stored)
    decision = decide(heard, cast.teacher, 0, "kept")
    assert decision.start_s == wrong["start_s"]
    returned = snapshots.take(review_of(heard), judged(review_of(heard)))["moments"]
    hear_anew(heard)
    found = judged(review_of(heard))
    assert found.unmatched == [decision]
    page = as_person(cast.teacher).get(f"/clips/{heard.pk}/").content.decode()
    assert "as it is heard and judged now, this moment is not marked" in page
    now = snapshots.take(review_of(heard), found)["moments"]
    assert [one for one in now if one["text"] == decision.sentence] == returned
    assert returned[0]["guardian_text"], "it says the same of the child"


def test_a_mark_that_was_kept_as_wide_is_not_returned_as_narrow(cast, heard):
    decision = decide(heard, cast.teacher, 0, "kept")
    Decision.objects.update(code="interval_narrow")  # as an engine that named another size
    found = judged(review_of(heard))
    assert found.marks[0].choice == ""
    assert [left.pk for left in found.unmatched] == [decision.pk]
    texts = [one["text"] for one in snapshots.take(review_of(heard), found)["moments"]]
    assert texts == [decision.sentence]


def test_what_was_returned_stays_as_it_was(cast, heard):
    from studio.review.returning import services as returning

    decide(heard, cast.teacher, 0, "kept")
    returned = returning.return_clip(review_of(heard), cast.teacher, "Steadier.")
    before = json.dumps(returned.snapshot)
    hear_anew(heard)
    returned.refresh_from_db()
    assert json.dumps(returned.snapshot) == before
