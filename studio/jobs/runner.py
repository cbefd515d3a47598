"""One piece of leased work from its claim to its end, however it ends."""

import logging
import traceback
from collections.abc import Callable
from typing import TypeVar

from django.db import InterfaceError, OperationalError

from studio import media

from . import isolation, leases, shutdown
from .rows import Leased

log = logging.getLogger(__name__)

POINTLESS_TO_REPEAT = {"output_too_large"}
NOT_THE_WORKS_DOING = {"disk_full", "tool_missing"}  # tried again until there is room, or a tool
CLAIM_PATIENCE_S = 30.0  # for a database that is away when a message comes
DATABASE_AWAY = (OperationalError, InterfaceError)

L = TypeVar("L", bound=Leased)


def take(
    what: str,
    claim: Callable[[], L | None],
    action: Callable[[L], None],
    send_again: Callable[[], object],
) -> None:
    """Claim, work, and record how it ended. ``what`` is for the log.

    ``action`` is a function of a module: work at which workers have died is done by a process of
    its own, which finds it by its name.
    """
    with shutdown.at_work():
        _take(what, claim, action, send_again)


def take_between(
    what: str,
    claim: Callable[[], L | None],
    action: Callable[[L], None],
    send_again: Callable[[], object],
) -> None:
    """The same in the middle of other work of this process, which goes on afterwards.

    Raises
    ------
    Stopped
        When the process was told to end meanwhile: the other work is to be left too.
    """
    _take(what, claim, action, send_again)
    if shutdown.requested():
        raise shutdown.Stopped


def _take(
    what: str,
    claim: Callable[[], L | None],
    action: Callable[[L], None],
    send_again: Callable[[], object],
) -> None:
    held = leases.patiently(claim, CLAIM_PATIENCE_S)
    if held is None:
        log.info("%s: nothing to do", what)
        return
    if leases.is_suspect(held):
        log.warning("%s: alone, %d workers have died at it", what, held.worker_deaths)
        end(held, what, lambda one: isolation.run(one, what, action), send_again)
    else:
        end(held, what, action, send_again)


def end(held: L, what: str, action: Callable[[L], None], send_again: Callable[[], object]) -> None:
    """Do what was claimed, and record how it ended. While the database is away nothing can be."""
    try:
        _work_on(held, what, action, send_again)
    except leases.LeaseLost as lost:
        log.warning("%s: dropped (%s)", what, lost)
    except DATABASE_AWAY as error:
        # When the lease has run out the sweep sends it again.
        log.error("%s: left, the database is away (%s)", what, error)


def _work_on(
    held: L, what: str, action: Callable[[L], None], send_again: Callable[[], object]
) -> None:
    try:
        with shutdown.interruptible():
            action(held)
        log.info("%s: done", what)
    except (leases.LeaseLost, *DATABASE_AWAY):
        raise
    except leases.GivesWay as way:
        if leases.hand_back(held):
            log.info("%s: left for later (%s)", what, way)
    except shutdown.Stopped:
        if leases.hand_back(held):
            send_again()
            log.warning("%s: handed back, this worker is ending", what)
    except media.Refused as refused:
        leases.judge(held, refused.code, refused.params, refused.detail)
    except media.Failed as failed:
        ends = {
            "retry": failed.code not in POINTLESS_TO_REPEAT,
            "counts": failed.code not in NOT_THE_WORKS_DOING,
        }
        again = leases.give_up(held, failed.code, failed.params, failed.detail, **ends)
        then = "to be tried again" if again else "parked"
        log.warning("%s: %s, %s %s", what, then, failed.code, failed.detail)
    except Exception:
        leases.give_up(held, "unexpected", detail=traceback.format_exc())
        log.exception("%s: unexpected", what)
