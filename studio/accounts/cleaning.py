"""What goes by itself, and when: nothing about people stays longer than it is of use.

=============================  ================================================================
sessions                       when they have run out (30 days after the last log-in)
counts of wrong log-ins        a day after the latest (:mod:`.throttling`)
log-in records of django-axes  30 days; newer versions of the studio write none
letters                        a day after they were written, sent or not
invitations that nobody took   90 days after they ran out
what people were told of       90 days after it happened, seen or not
addresses that a child wants   30 days after she asked, where no guardian answered; she is told
=============================  ================================================================
"""

from datetime import timedelta

from axes.models import AccessAttempt, AccessFailureLog, AccessLog
from django.utils import timezone

from . import address_changes, letters, throttling
from .models import Invitation, Letter, Notification
from .sessions import SessionStore

LOG_IN_RECORDS = timedelta(days=30)
UNTAKEN_INVITATIONS = timedelta(days=90)
TOLD = timedelta(days=90)  # as Kept.NOTIFICATION says


def clean() -> dict[str, int]:
    """Remove what has outlived its use; how many rows of each kind that were counted."""
    now = timezone.now()
    SessionStore.clear_expired()
    old_records = now - LOG_IN_RECORDS
    records = [
        rows._raw_delete(rows.db)  # past the signals of django-axes, which has no handler for them
        for model in (AccessAttempt, AccessFailureLog, AccessLog)
        for rows in [model.objects.filter(attempt_time__lt=old_records)]
    ]
    untaken = Invitation.objects.filter(accepted_at=None, expires_at__lt=now - UNTAKEN_INVITATIONS)
    return {
        "tries": throttling.forget_old(),
        "log_in_records": sum(records),
        "letters": Letter.objects.filter(created_at__lt=now - letters.KEPT).delete()[0],
        "notifications": Notification.objects.filter(created_at__lt=now - TOLD).delete()[0],
        "invitations": untaken.delete()[0],
        "address_changes": address_changes.forget_old(),
    }
