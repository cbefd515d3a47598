from django.apps import AppConfig


class ReviewConfig(AppConfig):
    name = "studio.review"
    label = "review"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from studio.clips.signals import announced, arrived, heard, received

        received.connect(_begin_review, dispatch_uid="review.begin_review")
        heard.connect(_keep_figures, dispatch_uid="review.note_heard")
        announced.connect(_check_words, dispatch_uid="review.check_words")
        arrived.connect(_note_answer, dispatch_uid="review.note_answer")


def _begin_review(sender, clip, **kwargs) -> None:
    from . import services

    services.begin_review(clip)


def _keep_figures(sender, listening, **kwargs) -> None:
    from . import services

    services.note_heard(listening)


def _check_words(sender, enrolment, said, **kwargs) -> None:
    from . import sending

    sending.check(enrolment, said)


def _note_answer(sender, clip, said, enrolment, **kwargs) -> None:
    from . import sending

    sending.note_answer(clip, enrolment, said)
