"""The database of the settings as PostgreSQL's own library and programs take it."""

from django.conf import settings
from psycopg.conninfo import make_conninfo


def address(name: str | None = None) -> str:
    """Host, port, user and database (``name``, or the studio's own), without the password."""
    found = settings.DATABASES["default"]
    parts = {"host": found["HOST"], "port": found["PORT"], "user": found["USER"]}
    parts = {key: value for key, value in parts.items() if value} | found["OPTIONS"]
    return make_conninfo(dbname=name or found["NAME"], **parts)


def password() -> str:
    """Goes by the environment or a parameter, so that no list of processes shows it."""
    return settings.DATABASES["default"]["PASSWORD"]
