"""Long work is done exactly once, whoever dies on the way."""

from datetime import timedelta

import pytest
from django.db import OperationalError
from django.utils import timezone

from studio.clips.models import Clip, Listening, Stage
from studio.clips.processing import stages
from studio.jobs import leases

LONG_AGO = timezone.now() - timedelta(hours=1)


def claim(clip):
    return stages.claim(clip.pk, Stage.Kind.LISTENING)


def expire(stage):
    Stage.objects.filter(pk=stage.pk).update(lease_until=LONG_AGO)


def publish_and_break(held):
    with stages.publishing(held) as published:
        Listening.objects.create(
            clip=published, engine="1", options={}, input_sha256="", measurement={}
        )
        raise RuntimeError("broken on purpose")


def test_a_stage_can_be_claimed_once(clip, stage):
    assert claim(clip).attempt == 1
    assert claim(clip) is None


def test_an_expired_lease_is_claimed_again_and_costs_no_attempt(clip, stage):
    expire(claim(clip))
    again = claim(clip)
    assert (again.attempt, again.worker_deaths) == (1, 1)


def test_who_lost_the_lease_publishes_nothing(clip, stage):
    slow = claim(clip)
    expire(slow)
    quick = claim(clip)
    with pytest.raises(leases.LeaseLost), stages.publishing(slow):
        pytest.fail("the body must not run")
    with stages.publishing(quick):
        pass
    stage.refresh_from_db()
    assert stage.state == Stage.State.HEARD


def test_what_was_written_while_publishing_goes_when_it_fails(clip, stage):
    held = claim(clip)
    with pytest.raises(RuntimeError, match="broken on purpose"):
        publish_and_break(held)
    stage.refresh_from_db()
    assert (stage.state, Listening.objects.count()) == (Stage.State.WORKING, 0)


def test_an_erased_clip_stays_erased(clip, stage):
    held = claim(clip)
    Clip.objects.filter(pk=clip.pk).update(generation=2, erased_at=timezone.now())
    with pytest.raises(leases.LeaseLost), stages.publishing(held):
        pytest.fail("the body must not run")
    expire(held)
    assert claim(clip) is None
    assert not stages.lost().exists()


def test_a_heartbeat_renews_the_lease_and_fails_once_it_is_lost(clip, stage):
    held = claim(clip)
    expire(held)
    leases.beat(held, progress=0.5)
    stage.refresh_from_db()
    assert stage.lease_until > timezone.now()
    assert stage.progress == 0.5
    expire(held)
    claim(clip)
    with pytest.raises(leases.LeaseLost):
        leases.beat(held)


def test_three_failures_of_ours_park_the_stage_and_keep_the_last_reason(clip, stage):
    for again in (True, True, False):
        assert leases.give_up(claim(clip), "crashed", {"exit_code": 1}) is again
    stage.refresh_from_db()
    assert (stage.state, stage.failure_code) == (Stage.State.PARKED, "crashed")
    assert claim(clip) is None


def test_what_the_pupil_must_mend_is_not_tried_again(clip, stage):
    leases.judge(claim(clip), "unreadable")
    stage.refresh_from_db()
    assert stage.state == Stage.State.FAILED


def test_deaths_of_workers_are_forgiven_for_long_and_then_park_the_stage(clip, stage):
    for _ in range(leases.MAX_WORKER_DEATHS):
        expire(claim(clip))
    assert claim(clip) is None
    assert not stages.lost().exists()
    assert leases.park_exhausted(Stage) == 1
    stage.refresh_from_db()
    assert (stage.state, stage.failure_code) == (Stage.State.PARKED, "worker_died")
    assert (stage.attempt, stage.worker_deaths) == (1, leases.MAX_WORKER_DEATHS)


def test_after_some_deaths_of_workers_it_is_done_alone_and_later_waits_longer_each_time(
    clip, stage
):
    waits = []
    for deaths in range(leases.MAX_WORKER_DEATHS - 1):
        held = claim(clip)
        assert leases.is_suspect(held) is (deaths >= leases.ALONE_AFTER)
        waits.append(shortest_wait(held))
    assert waits[: leases.BACK_OFF_AFTER - 1] == [0] * (leases.BACK_OFF_AFTER - 1)
    assert waits[leases.BACK_OFF_AFTER - 1 :] == [1, 2, 4, 8, 16, 32]


def shortest_wait(held) -> int:
    """Whole minutes after the lease's end at which another worker may have it."""
    for minutes in range(60):
        ended = timezone.now() - timedelta(minutes=minutes, seconds=1)
        Stage.objects.filter(pk=held.pk).update(lease_until=ended)
        if stages.lost().exists():
            return minutes
    raise AssertionError("it is never taken up again")


def test_the_sweep_finds_lost_messages_and_dead_workers_only(clip, stage):
    assert not stages.lost().exists()  # waiting, but not for long
    Stage.objects.update(changed_at=LONG_AGO)
    assert stages.lost().exists()
    Stage.objects.update(dispatched_at=timezone.now())
    assert not stages.lost().exists()  # sent again a moment ago
    held = claim(clip)
    assert not stages.lost().exists()  # at work
    expire(held)
    assert stages.lost().exists()


def test_what_is_handed_back_waits_again_at_once_and_costs_no_attempt(clip, stage):
    held = claim(clip)
    assert leases.hand_back(held)
    stage.refresh_from_db()
    assert (stage.state, stage.attempt, stage.lease_token) == (Stage.State.WAITING, 0, "")
    assert claim(clip).attempt == 1
    assert not leases.hand_back(held), "it is another's now"


def test_a_row_that_a_wrong_clock_put_into_the_future_is_sent_all_the_same(clip, stage):
    Stage.objects.update(changed_at=timezone.now() + timedelta(days=1))
    assert stages.lost().exists()


@pytest.fixture
def impatient(monkeypatch):
    monkeypatch.setattr(leases, "PAUSE_S", 0.01)


@pytest.mark.django_db(transaction=True)
def test_results_are_written_once_the_database_is_back(clip, stage, impatient):
    tries = []

    def write(published) -> None:
        tries.append(published)
        Listening.objects.create(
            clip=published, engine="1", options={}, input_sha256="", measurement={}
        )
        if len(tries) < 3:
            raise OperationalError("the connection was refused")

    stages.publish(claim(clip), write)
    stage.refresh_from_db()
    assert (stage.state, Listening.objects.count(), len(tries)) == (Stage.State.HEARD, 1, 3)


@pytest.mark.django_db(transaction=True)
def test_patience_ends(impatient):
    def away() -> None:
        raise OperationalError("the connection was refused")

    with pytest.raises(OperationalError, match="refused"):
        leases.patiently(away, patience_s=0.05)
