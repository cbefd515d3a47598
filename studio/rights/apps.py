from django.apps import AppConfig


class RightsConfig(AppConfig):
    name = "studio.rights"
    label = "rights"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from django.db.models.signals import post_delete

        from studio.clips.signals import erased, hidden, restored, swept

        from . import personal_data  # noqa: F401
        from .models import Copy

        swept.connect(_send_lost, dispatch_uid="rights.send_lost")
        erased.connect(_let_copy_go, dispatch_uid="rights.let_copy_go")
        hidden.connect(_let_copies_go, dispatch_uid="rights.let_copies_go")
        post_delete.connect(_remove_file, sender=Copy, dispatch_uid="rights.remove_file")
        restored.connect(_erase_again, dispatch_uid="rights.erase_again")


def _send_lost(sender, **kwargs) -> None:
    from .copies import services as copies
    from .erasure import dispatch

    dispatch.send_lost()
    copies.sweep()


def _let_copy_go(sender, clip, **kwargs) -> None:
    _let_copies_go(sender, [clip])


def _let_copies_go(sender, clips, **kwargs) -> None:
    from .copies import services as copies

    copies.let_go_those_with(clips)


def _remove_file(sender, instance, **kwargs) -> None:
    from .copies import services as copies

    copies.remove_file(instance)


def _erase_again(sender, **kwargs) -> None:
    from .erasure import restoring

    restoring.erase_again()
