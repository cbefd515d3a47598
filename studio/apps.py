"""The house itself, as far as Django needs to know of it."""

from django.apps import AppConfig
from django.conf import settings
from django.utils.translation import gettext, ngettext, pgettext


class StudioConfig(AppConfig):
    """Registers the start-up checks, and the queue that the apps' tasks belong to."""

    name = "studio"

    def ready(self) -> None:
        from django.db.backends.signals import connection_created

        from studio import celery, checks  # noqa: F401
        from studio.figures.translation import translate_by
        from studio.log_filters import outage
        from studio.theory import naming

        if settings.USE_I18N:
            translate_by(gettext, ngettext)
            naming.translate_by(pgettext)

        connection_created.connect(outage.over, dispatch_uid="outage")
