"""A clip that a pupil sends: what is said with it, and the review that begins with it."""

from django import forms
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from studio import figures
from studio.accounts.models import Enrolment
from studio.accounts.notifications import kinds, tell
from studio.clips import services as clips
from studio.clips.models import Clip, Listening
from studio.clips.signals import Unacceptable
from studio.drills import access as drills
from studio.drills.models import Assignment
from studio.review.marks import counting
from studio.review.marks.judging import judge_and_store
from studio.review.models import Review
from studio.translating import gettext_lazy


def begin_review(clip: Clip, answers: Assignment | None = None) -> Review:
    """Put a received clip on the waiting list; ``answers`` is the assignment it answers."""
    review, is_new = Review.objects.get_or_create(clip=clip)
    if is_new:
        _tell_teacher(clip)
    if answers is not None and review.answers_id != answers.pk:
        review.answers = answers
        review.save(update_fields=["answers"])
    return review


def _tell_teacher(clip: Clip) -> None:
    place = clip.enrolment
    tell(
        place.teacher,
        kinds.WAITING,
        key=f"waiting-{clip.pk}",
        about=place.pupil,
        studio=place.studio,
        path=reverse("clip_page", kwargs={"clip_id": clip.pk}),
    )


def note_heard(listening: Listening) -> None:
    """Keep what the waiting list shows of a new listening."""
    review = begin_review(listening.clip)
    found = judge_and_store(review, listening)
    Review.objects.filter(pk=review.pk).update(
        double_stops_heard=found.double_stops, **counting.counts_of(found)
    )


def open_review(review: Review) -> None:
    """The teacher has opened the clip for the first time; a review never waits again."""
    if review.state != Review.State.WAITING:
        return
    Review.objects.filter(pk=review.pk, state=Review.State.WAITING).update(
        state=Review.State.OPEN, opened_at=timezone.now()
    )


NOTE_LENGTH = 600
# What may be changed while a recording is on its way.
WORDS = ("subject", "title", "note", "assignment")


class SendForm(forms.Form):
    """All but the recording itself."""

    assignment = forms.ModelChoiceField(
        queryset=Assignment.objects.none(),
        required=False,
        label=gettext_lazy("Which drill is it?"),
        empty_label=gettext_lazy("None of them"),
    )
    subject = forms.ChoiceField(
        choices=[("", gettext_lazy("Your teacher will see")), *Clip.Subject.choices],
        required=False,
        label=gettext_lazy("What is it?"),
    )
    title = forms.CharField(
        required=False,
        max_length=160,
        label=gettext_lazy("A name for it"),
        widget=forms.TextInput(attrs={"placeholder": gettext_lazy("B♭ octaves, third day")}),
    )
    note = forms.CharField(
        required=False,
        max_length=NOTE_LENGTH,
        label=gettext_lazy("Words for your teacher"),
        widget=forms.Textarea(
            attrs={
                "rows": 3,
                "placeholder": gettext_lazy("What was hard, or what you want to know"),
            }
        ),
    )
    upload_key = forms.CharField(required=False, max_length=64, widget=forms.HiddenInput)

    def __init__(self, enrolment: Enrolment, *args, by_guardian: bool = False, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        if by_guardian:
            self._speak_to_guardian(enrolment)
        field = self.fields["assignment"]
        field.queryset = drills.queue_of(enrolment)
        field.label_from_instance = lambda assignment: assignment.version.title

    def _speak_to_guardian(self, enrolment: Enrolment) -> None:
        teacher = enrolment.teacher.name
        self.fields["note"].label = _("Words for %(teacher)s") % {"teacher": teacher}
        self.fields["note"].widget.attrs["placeholder"] = _(
            "What was hard, or what you want to ask %(teacher)s"
        ) % {"teacher": teacher}
        subject = self.fields["subject"]
        subject.choices = [
            ("", _("%(teacher)s will see") % {"teacher": teacher}),
            *Clip.Subject.choices,
        ]


def check(enrolment: Enrolment, said: dict[str, str]) -> None:
    """Raise :class:`Unacceptable` with a sentence unless the words can be taken as they are."""
    form = SendForm(enrolment, said)
    if not form.is_valid():
        problems = [problem for field in form.errors.values() for problem in field]
        raise Unacceptable(" ".join(problems))


def note_answer(clip: Clip, enrolment: Enrolment, said: dict[str, str]) -> None:
    """The drill that the clip answers, if it is still set: it may have been taken back since."""
    answers = said.get("assignment", "")
    queue = drills.queue_of(enrolment)
    begin_review(clip, queue.filter(pk=figures.whole(answers)).first())


def say_anew(clip: Clip, enrolment: Enrolment, said: dict[str, str]) -> None:
    """Words that came while the clip was being made; not once its teacher has begun with it."""
    waiting = Review.objects.filter(clip=clip, state=Review.State.WAITING)
    if not waiting.exists():
        return
    clips.say_anew(clip, said.get("title", ""), said.get("note", ""), said.get("subject", ""))
    answers = said.get("assignment", "")
    number = figures.whole(answers)
    chosen = drills.queue_of(enrolment).filter(pk=number).first()
    if number is not None and chosen is None:
        return  # taken back since: what was chosen before stays
    waiting.update(answers=chosen)
