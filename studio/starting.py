"""What each long-running process of the studio does first."""

from collections.abc import Iterator
from contextlib import contextmanager

from django.db import connection

from studio import releases, running


def may_begin(name: str) -> None:
    """Whether a process could join just now; for one that leaves that to its children.

    Raises
    ------
    SystemExit
        See :func:`begin`.
    """
    with _said(name), running.entered(name):
        pass


def begin(name: str) -> None:
    """Join the studio's processes, or end with a sentence and no traceback.

    Raises
    ------
    SystemExit
        While a backup is restored, or on a database of a newer program.
    """
    with _said(name):
        running.enter(name)


@contextmanager
def _said(name: str) -> Iterator[None]:
    try:
        releases.refuse_newer_database()
        connection.close()  # processes that are forked from here must not share it
        yield
    except (releases.NewerDatabase, running.Restoring) as error:
        raise SystemExit(f"studio: {name} was not started: {error}.") from None
