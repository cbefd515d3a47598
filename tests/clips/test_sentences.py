"""What people read of a clip: every code has its sentence, and it says whether we go on trying."""

import pytest

from studio.clips import sentences
from studio.clips.models import Stage
from studio.media import errors

FAMILIES = (errors.REFUSED_SENTENCES, errors.FAILED_SENTENCES, errors.NOTE_SENTENCES)
CODES = sorted({code for family in (*FAMILIES, sentences.OURS) for code in family})


@pytest.mark.parametrize("code", CODES)
def test_every_sentence_is_plain_and_ends(code):
    said = sentences.sentence(code, {})
    assert len(said) > 35
    assert said.endswith(".")
    assert not set("!{}") & set(said)


AGAIN = "It will be tried again by itself."
OURS = sorted({*errors.FAILED_SENTENCES, *sentences.OURS} - {"disk_full"})  # which says so itself


@pytest.mark.parametrize("code", OURS)
def test_what_waits_is_said_to_be_tried_again(stage, code):
    stage.failure_code = code
    assert sentences.stage_failure(stage).endswith(AGAIN)


@pytest.mark.parametrize("code", OURS)
def test_what_is_parked_is_said_to_be_kept_and_looked_at(stage, code):
    stage.failure_code, stage.state, stage.attempt = code, Stage.State.PARKED, 3
    said = sentences.stage_failure(stage)
    assert "has been asked to look at it. There is nothing you need to do." in said
    assert AGAIN not in said


@pytest.mark.parametrize("code", sorted(errors.REFUSED_SENTENCES))
def test_what_was_judged_is_not_said_to_be_tried_again(stage, code):
    stage.failure_code, stage.state, stage.attempt = code, Stage.State.FAILED, 1
    assert AGAIN not in sentences.stage_failure(stage)


def test_a_stage_that_is_well_has_nothing_to_say(stage):
    assert sentences.stage_failure(stage) == ""
