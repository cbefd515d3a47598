"""What each long-running process of the studio does first."""

from django.db import connection

from studio import releases, running


def begin(name: str) -> None:
    """Join the studio's processes, or end with a sentence and no traceback.

    Raises
    ------
    SystemExit
        While a backup is restored, or on a database of a newer program.
    """
    try:
        releases.refuse_newer_database()
        connection.close()  # processes that are forked from here must not share it
        running.enter(name)
    except (releases.NewerDatabase, running.Restoring) as error:
        raise SystemExit(f"studio: {name} was not started: {error}.") from None
