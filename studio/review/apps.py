from django.apps import AppConfig


class ReviewConfig(AppConfig):
    name = "studio.review"
    label = "review"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from django.db.models.signals import post_delete

        from studio.accounts.signals import teacher_left
        from studio.clips.signals import (
            announced,
            arrived,
            awaited,
            erased,
            heard,
            received,
            recording_goes,
            said_anew,
            swept,
        )

        from . import personal_data  # noqa: F401
        from .models import EnclosedFile

        teacher_left.connect(_let_go, dispatch_uid="review.let_go")
        received.connect(_begin_review, dispatch_uid="review.begin_review")
        awaited.connect(_wait_for, dispatch_uid="review.wait_for")
        heard.connect(_keep_figures, dispatch_uid="review.note_heard")
        announced.connect(_check_words, dispatch_uid="review.check_words")
        arrived.connect(_note_answer, dispatch_uid="review.note_answer")
        said_anew.connect(_say_anew, dispatch_uid="review.say_anew")
        erased.connect(_erase_enclosures, dispatch_uid="review.erase_enclosures")
        recording_goes.connect(_erase_enclosures, dispatch_uid="review.let_enclosures_go")
        swept.connect(_send_lost, dispatch_uid="review.send_lost")
        post_delete.connect(
            _remove_file, sender=EnclosedFile, dispatch_uid="review.remove_enclosed_file"
        )


def _let_go(sender, person, studio, **kwargs) -> None:
    from .waiting import triage

    triage.let_all_go(person, studio)


def _begin_review(sender, clip, **kwargs) -> None:
    from .waiting import submissions

    submissions.begin_review(clip)


def _wait_for(sender, **kwargs):
    from .waiting import queries

    return queries.unanswered()


def _keep_figures(sender, listening, **kwargs) -> None:
    from .waiting import submissions

    submissions.note_heard(listening)


def _check_words(sender, enrolment, said, **kwargs) -> None:
    from .waiting import submissions

    submissions.check(enrolment, said)


def _note_answer(sender, clip, said, enrolment, **kwargs) -> None:
    from .waiting import submissions

    submissions.note_answer(clip, enrolment, said)


def _say_anew(sender, clip, said, enrolment, **kwargs) -> None:
    from .waiting import submissions

    submissions.say_anew(clip, enrolment, said)


def _erase_enclosures(sender, clip, **kwargs) -> None:
    from .models import Enclosure

    Enclosure.objects.filter(comment__review__clip=clip).delete()


def _send_lost(sender, **kwargs) -> None:
    from studio.drills.reading import services as readings

    from .enclosures import dispatch

    dispatch.send_lost()
    readings.send_lost()


def _remove_file(sender, instance, **kwargs) -> None:
    from .enclosures import services

    services.remove_file(instance)
