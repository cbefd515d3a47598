"""What is kept of a returned clip follows what was heard and decided, in the same transaction."""

import numpy as np
import pytest

from studio.clips import services as clips
from studio.clips.signals import heard
from studio.progress import keeping
from studio.progress.models import ClipFigures, unpacked
from studio.review.marks import decisions
from studio.review.marks.judging import judged
from studio.review.returning import services as returning
from tests.review.heard_clip import heard_clip, listen_again, measurement, review_of


@pytest.fixture
def clip(cast):
    cast.studio.return_delay_min = 30
    cast.studio.save()
    return heard_clip(cast.enrolment)


def rows(clip) -> np.ndarray:
    return unpacked(ClipFigures.objects.values().get(clip=clip)).rows


def give_back(clip, cast) -> None:
    returning.return_clip(review_of(clip), cast.teacher, "")


def test_a_returned_clip_has_a_row_for_each_double_stop(clip, cast):
    assert not ClipFigures.objects.exists()
    give_back(clip, cast)
    found = rows(clip)
    assert found["low"].tolist() == [60, 62, 64]
    assert found["short"].tolist() == [b"P8"] * 3
    assert found["settled"] == pytest.approx([30.0, 2.0, -35.0], abs=0.1)
    assert found["size"] == pytest.approx([30.0, 2.0, 35.0], abs=0.1)
    assert found["first"] == pytest.approx([40.0, 2.0, 35.0], abs=0.1)
    assert found["at_s"] == pytest.approx([5.5, 12.0, 20.0])
    assert np.isnan(found["balance"]).all()
    assert found["off"] == pytest.approx(np.array([(0.0, 30.0), (0.0, 2.0), (0.0, -35.0)]), abs=0.1)
    assert (found["stops"] == -1).all()  # no drill says the strings


def test_what_the_teacher_dropped_does_not_count(clip, cast):
    review = review_of(clip)
    found = judged(review)
    mark = next(mark for mark in found.marks if mark.midis == (64, 76))
    decisions.decide(review, found.listening, mark, "dropped", cast.teacher)
    give_back(clip, cast)
    assert rows(clip)["low"].tolist() == [60, 62]


def test_the_same_thing_played_in_several_runs_is_one_row(cast):
    clip = heard_clip(cast.enrolment)
    played = (("C4", 4.0, (10.0,)), ("D4", 12.0, (2.0,)), ("C4", 20.0, (20.0,)))
    listen_again(clip, measurement(played))
    give_back(clip, cast)
    found = rows(clip)
    assert found["runs"].tolist() == [2, 1]
    assert found["settled"][0] == pytest.approx(15.0, abs=0.1)


def test_taking_a_return_back_takes_its_row(clip, cast):
    give_back(clip, cast)
    returning.take_back_return(review_of(clip))
    assert not ClipFigures.objects.exists()


def test_hearing_it_anew_writes_it_anew(clip, cast):
    give_back(clip, cast)
    listening = listen_again(clip, measurement((("G4", 4.0, (8.0,)),)))
    heard.send(sender=type(listening), listening=listening)  # as a worker that publishes it
    assert rows(clip)["low"].tolist() == [67]
    assert ClipFigures.objects.get().listening == listening


def test_a_clip_that_waits_has_none_when_it_is_heard_anew(clip):
    listening = listen_again(clip)
    heard.send(sender=type(listening), listening=listening)
    assert not ClipFigures.objects.exists()


def test_erasing_a_clip_takes_its_row(clip, cast, settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path
    give_back(clip, cast)
    clips.erase(clip)
    assert not ClipFigures.objects.exists()


def test_what_was_returned_before_is_made_up_for(clip, cast):
    give_back(clip, cast)
    ClipFigures.objects.all().delete()
    assert keeping.keep_missing() == 1
    assert len(rows(clip)) == 3
    assert keeping.keep_missing() == 0
    ClipFigures.objects.update(layout=0)
    assert keeping.keep_missing() == 1


def test_a_return_goes_through_though_its_figures_cannot_be_gathered(clip, cast, monkeypatch):
    monkeypatch.setattr(keeping, "gathered", lambda judged: 1 / 0)
    give_back(clip, cast)
    assert not ClipFigures.objects.exists()
    assert keeping.keep_missing() == 1  # an empty row, so that the sweep does not stand still
    assert len(rows(clip)) == 0
    assert keeping.keep_missing() == 0


def test_a_sweep_that_found_nothing_missing_lets_the_next_ones_pass(
    clip, cast, monkeypatch, django_assert_num_queries
):
    now = [1000.0]
    monkeypatch.setattr(keeping, "_rests_until", 0.0)
    monkeypatch.setattr(keeping.time, "monotonic", lambda: now[0])
    give_back(clip, cast)
    ClipFigures.objects.all().delete()
    assert keeping.keep_missing_at_times() == 1
    assert keeping.keep_missing_at_times() == 0
    ClipFigures.objects.all().delete()
    with django_assert_num_queries(0):
        assert keeping.keep_missing_at_times() == 0
    now[0] += keeping.REST_S
    assert keeping.keep_missing_at_times() == 1
