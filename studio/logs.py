"""What the log says of a refusal."""

import logging

OURS_FROM = 500  # HTTP statuses from here on are faults of ours


def refusal_in_one_line(record: logging.LogRecord) -> bool:
    """A request that was refused (no consent, not there) is no fault: where is said, and no more.

    Without this Django adds the way through the code, which reads like one.
    """
    if getattr(record, "status_code", OURS_FROM) < OURS_FROM:
        record.exc_info = None
    return True
