"""The house itself, as far as Django needs to know of it."""

from django.apps import AppConfig


class StudioConfig(AppConfig):
    """Registers the start-up checks, and the queue that the apps' tasks belong to."""

    name = "studio"

    def ready(self) -> None:
        from django.db.backends.signals import connection_created

        from studio import celery, checks  # noqa: F401
        from studio.log_filters import outage

        connection_created.connect(outage.over, dispatch_uid="outage")
