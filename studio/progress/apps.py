from django.apps import AppConfig


class ProgressConfig(AppConfig):
    name = "studio.progress"
    label = "progress"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from studio.clips.signals import erased, heard, swept
        from studio.review.signals import return_taken_back, returned

        from . import personal_data  # noqa: F401

        returned.connect(_keep, dispatch_uid="progress.keep")
        return_taken_back.connect(_take_back, dispatch_uid="progress.take_back")
        heard.connect(_keep_anew, dispatch_uid="progress.keep_anew")
        erased.connect(_erase, dispatch_uid="progress.erase")
        swept.connect(_keep_missing, dispatch_uid="progress.keep_missing")
        swept.connect(_send_lost, dispatch_uid="progress.send_lost")


def _keep(sender, review, **kwargs) -> None:
    from . import keeping

    keeping.keep(review)


def _take_back(sender, review, **kwargs) -> None:
    from . import keeping

    keeping.forget(review.clip_id)


def _keep_anew(sender, listening, **kwargs) -> None:
    from . import keeping

    keeping.keep_if_returned(listening)


def _erase(sender, clip, **kwargs) -> None:
    from . import keeping

    keeping.forget(clip.pk)


def _keep_missing(sender, **kwargs) -> None:
    from . import keeping

    keeping.keep_missing_at_times()


def _send_lost(sender, **kwargs) -> None:
    from .reports.printing import services

    services.send_lost()
