"""What a round asks about: how much of either side, from where, and that neither tells itself."""

import uuid
from collections import Counter
from random import Random
from statistics import median

from studio.review.audit.draw import Candidate, drawn

CLIPS = [uuid.UUID(int=n) for n in range(12)]


def candidates(marks: int, others: int) -> list[Candidate]:
    """Nine of ten marks are octaves and from one clip; the others are mostly longer."""
    chance = Random(7)
    made = []
    for n in range(marks + others):
        rare = n % 10 == 0
        length_s = chance.uniform(0.5, 2.0) if n < marks else chance.uniform(0.5, 8.0)
        made.append(
            Candidate(
                clip_id=CLIPS[n % 12 if rare or n >= marks else 0],
                kind="thirds" if rare else "octaves",
                start_s=10.0 * n,
                end_s=10.0 * n + length_s,
                generation=2,
                code="interval_wide" if n < marks else "",
            )
        )
    return made


def test_a_round_has_sixty_marks_and_forty_others_in_an_order_that_its_seed_gives():
    pool = candidates(300, 400)
    first = drawn(pool, seed=5)
    assert Counter(bool(each.code) for each in first) == {True: 60, False: 40}
    assert drawn(pool, seed=5) == first
    assert drawn(pool, seed=6) != first
    assert len(set(first)) == 100


def test_kinds_and_clips_take_turns():
    marks = [each for each in drawn(candidates(300, 400), seed=5) if each.code]
    assert Counter(each.kind for each in marks) == {"thirds": 30, "octaves": 30}
    rare = Counter(each.clip_id for each in marks if each.kind == "thirds")
    assert max(rare.values()) - min(rare.values()) <= 1


def test_marks_and_others_are_of_about_the_same_length_and_mixed():
    moments = drawn(candidates(300, 400), seed=5)
    lengths = [[e.length_s for e in moments if bool(e.code) is marked] for marked in (True, False)]
    assert abs(median(lengths[0]) - median(lengths[1])) < 0.2
    assert max(lengths[1]) < 3.0
    half = sum(bool(each.code) for each in moments[:50])
    assert 20 <= half <= 40


def test_a_small_studio_keeps_the_share_and_what_is_too_short_or_long_is_not_asked():
    assert Counter(bool(e.code) for e in drawn(candidates(7, 100), 1)) == {True: 6, False: 4}
    assert drawn(candidates(2, 100), 1) == []
    assert drawn(candidates(100, 1), 1) == []
    short = Candidate(CLIPS[0], "octaves", 1.0, 1.1, 2, code="interval_wide")
    assert drawn([short] * 10 + candidates(0, 50), 1) == []
