"""One piece of leased work from its claim to its end, however it ends."""

import logging
import traceback
from collections.abc import Callable
from typing import TypeVar

from django.db import InterfaceError, OperationalError

from studio import media

from . import stages, stopping
from .models import Leased

log = logging.getLogger(__name__)

POINTLESS_TO_REPEAT = {"output_too_large"}
NOT_THE_CLIPS_DOING = {"disk_full"}  # tried again until there is room
CLAIM_PATIENCE_S = 30.0  # for a database that is away when a message comes
DATABASE_AWAY = (OperationalError, InterfaceError)

L = TypeVar("L", bound=Leased)


def take(
    what: str,
    claim: Callable[[], L | None],
    action: Callable[[L], None],
    send_again: Callable[[], object],
) -> None:
    """Claim, work, and record how it ended. ``what`` is for the log."""
    with stopping.at_work():
        held = stages.patiently(claim, CLAIM_PATIENCE_S)
        if held is None:
            log.info("%s: nothing to do", what)
            return
        try:
            _work_on(held, what, action, send_again)
        except DATABASE_AWAY as error:
            # Nothing can be recorded: when the lease has run out the sweep sends it again.
            log.error("%s: left, the database is away (%s)", what, error)


def _work_on(
    held: L, what: str, action: Callable[[L], None], send_again: Callable[[], object]
) -> None:
    try:
        with stopping.interruptible():
            action(held)
        log.info("%s: done", what)
    except stages.LeaseLost as lost:
        log.warning("%s: dropped (%s)", what, lost)
    except stopping.Stopped:
        if stages.hand_back(held):
            send_again()
            log.warning("%s: handed back, this worker is ending", what)
    except media.Refused as refused:
        stages.give_up(held, refused.code, refused.params, refused.detail, retry=False)
    except media.Failed as failed:
        ends = {
            "retry": failed.code not in POINTLESS_TO_REPEAT,
            "counts": failed.code not in NOT_THE_CLIPS_DOING,
        }
        stages.give_up(held, failed.code, failed.params, failed.detail, **ends)
        log.warning("%s: %s %s", what, failed.code, failed.detail)
    except Exception:
        stages.give_up(held, "unexpected", detail=traceback.format_exc())
        log.exception("%s: unexpected", what)
