from django.apps import AppConfig


class ReviewConfig(AppConfig):
    name = "studio.review"
    label = "review"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from studio.clips.signals import heard

        heard.connect(_keep_figures, dispatch_uid="review.note_heard")


def _keep_figures(sender, listening, **kwargs) -> None:
    # Imported here, so that starting the web does not load the listening engine.
    from . import services

    services.note_heard(listening)
