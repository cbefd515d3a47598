"""The form of a note, and the one that sets what was agreed."""

from datetime import date
from uuid import uuid4

from django import forms
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from studio import figures
from studio.accounts.models import Enrolment

from ..models import DrillVersion
from ..suitability import SuitableForm
from . import access
from .models import LessonNote

LONGEST_NOTE = 8000  # letters
MOST_AGREED = 12


class NoteForm(forms.Form):
    """What was noted of a lesson, and who reads it."""

    held_on = forms.DateField(
        label=gettext_lazy("Day of the lesson"),
        widget=forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"}),
    )
    lesson = forms.ModelChoiceField(
        queryset=None,
        required=False,
        label=gettext_lazy("Keys of the lesson"),
        empty_label=gettext_lazy("none of the plan"),
    )
    text = forms.CharField(
        required=False,
        max_length=LONGEST_NOTE,
        label=gettext_lazy("Note"),
        widget=forms.Textarea(attrs={"rows": 8}),
    )
    agreed = forms.CharField(
        required=False,
        max_length=2000,
        label=gettext_lazy("Agreed"),
        widget=forms.Textarea(attrs={"rows": 4}),
        help_text=gettext_lazy("One thing a line. Each can be set as a drill afterwards."),
    )
    share = forms.BooleanField(
        required=False, label=gettext_lazy("Pupil and guardians read it too")
    )
    version = forms.IntegerField(required=False, min_value=1, widget=forms.HiddenInput)
    form_key = forms.CharField(required=False, max_length=64, widget=forms.HiddenInput)

    def __init__(self, enrolment: Enrolment, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["lesson"]
        field.queryset = access.lessons_to_choose(enrolment)
        field.label_from_instance = lambda lesson: (
            _("%(keys)s, round %(number)s")
            % {
                "keys": lesson,
                "number": lesson.round.number,
            }
        )

    @classmethod
    def new(
        cls, enrolment: Enrolment, data=None, lesson: int | None = None, day: date | None = None
    ) -> "NoteForm":
        """An empty one, for the lesson of today or ``day``; ``lesson`` is one of the plan."""
        today = day or timezone.localdate()
        return cls(
            enrolment,
            data,
            initial={"held_on": today, "lesson": lesson, "form_key": uuid4().hex},
        )

    @classmethod
    def of(cls, note: LessonNote, data=None) -> "NoteForm":
        """The form filled with a note as it stands."""
        said = {name: getattr(note, name) for name in ("held_on", "text", "agreed", "version")}
        initial = said | {"lesson": note.lesson_id, "share": note.is_shared}
        return cls(note.enrolment, data, initial=initial)

    def clean_held_on(self):
        day, today = self.cleaned_data["held_on"], timezone.localdate()
        if day > today:
            raise forms.ValidationError(
                _("%(day)s is still to come. Choose today or an earlier day.")
                % {"day": figures.long_date(day)}
            )
        return day

    def clean(self) -> dict:
        said = super().clean()
        if not said.get("text") and not said.get("agreed"):
            raise forms.ValidationError(
                _("Nothing is written yet. Write a note or what was agreed.")
            )
        if len(said.get("agreed", "").splitlines()) > MOST_AGREED:
            self.add_error(
                "agreed",
                _("These are more than %(most)s lines. Put some of them together.")
                % {"most": MOST_AGREED},
            )
        return said

    def says(self) -> dict:
        """What the services take."""
        names = ("held_on", "lesson", "text", "agreed", "share")
        return {name: self.cleaned_data[name] for name in names}


class AgreedForm(SuitableForm):
    """Which of what was agreed is set as drills, and until when."""

    line = forms.MultipleChoiceField(
        label=gettext_lazy("Agreed"),
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": gettext_lazy("Tick one at least, then set it.")},
    )
    due_on = forms.DateField(
        required=False,
        label=gettext_lazy("Due"),
        widget=forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"}),
    )

    def __init__(self, note: LessonNote, data=None, due_on=None) -> None:
        lines = [(line, line) for line in dict.fromkeys(note.agreements)]
        said = {one.version.words for one in note.drills_set.all()}
        said |= {one.version.title for one in note.drills_set.all()}
        left = [line for line, _label in lines if line not in said]
        super().__init__(data, initial={"line": left, "due_on": due_on}, auto_id="id_agreed_%s")
        self.fields["line"].choices = lines

    def clean_due_on(self):
        day = self.cleaned_data["due_on"]
        if day and day < timezone.localdate():
            raise forms.ValidationError(
                _("%(day)s is past. Choose today or a later day, or leave it empty.")
                % {"day": figures.long_date(day)}
            )
        return day

    def suits(self, versions: list[DrillVersion], enrolment: Enrolment) -> bool:
        """Whether each drill suits, or was chosen all the same."""
        return self.look_at_all([(version, enrolment) for version in versions])
