from django.apps import AppConfig


class ReviewConfig(AppConfig):
    name = "studio.review"
    label = "review"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from studio.clips.signals import heard, received

        received.connect(_begin_review, dispatch_uid="review.begin_review")
        heard.connect(_keep_figures, dispatch_uid="review.note_heard")


def _begin_review(sender, clip, **kwargs) -> None:
    from . import services

    services.begin_review(clip)


def _keep_figures(sender, listening, **kwargs) -> None:
    from . import services

    services.note_heard(listening)
