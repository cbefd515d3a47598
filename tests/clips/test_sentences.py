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


@pytest.mark.parametrize("code", sorted(sentences.TRIED_AGAIN))
def test_what_waits_is_said_to_be_tried_again(stage, code):
    stage.failure_code = code
    assert sentences.stage_failure(stage).endswith("It will be tried again by itself.")


@pytest.mark.parametrize("code", sorted(sentences.TRIED_AGAIN))
def test_what_has_failed_for_good_is_not_said_to_be_tried_again(stage, code):
    stage.failure_code, stage.state, stage.attempt = code, Stage.State.FAILED, 3
    said = sentences.stage_failure(stage)
    assert "It failed 3 times" in said
    assert "will be tried" not in said


def test_a_stage_that_is_well_has_nothing_to_say(stage):
    assert sentences.stage_failure(stage) == ""
