from django.apps import AppConfig


class RightsConfig(AppConfig):
    name = "studio.rights"
    label = "rights"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from studio.clips.signals import restored, swept

        from . import personal_data  # noqa: F401

        swept.connect(_send_lost, dispatch_uid="rights.send_lost")
        restored.connect(_erase_again, dispatch_uid="rights.erase_again")


def _send_lost(sender, **kwargs) -> None:
    from .erasure import dispatch

    dispatch.send_lost()


def _erase_again(sender, **kwargs) -> None:
    from .erasure import restoring

    restoring.erase_again()
