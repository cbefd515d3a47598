from django.apps import AppConfig


class ClipsConfig(AppConfig):
    name = "studio.clips"
    label = "clips"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from studio.accounts.signals import lessons_ended

        from . import personal_data  # noqa: F401

        lessons_ended.connect(_stop_uploads, dispatch_uid="clips.stop_uploads")


def _stop_uploads(sender, place, **kwargs) -> None:
    from django.db import transaction

    from .uploads import services

    transaction.on_commit(lambda: services.forget_unfinished(place))
