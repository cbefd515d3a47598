"""A drill on the shelf, and setting one for a pupil."""

from django import forms
from django.utils import timezone

from studio.accounts.models import Person
from studio.theory.keys import ALL_KEYS

from . import access
from .models import Drill, DrillVersion, Interval

KEYS = [("", "any key")] + [(key.name, key.name) for key in ALL_KEYS]


class DrillForm(forms.Form):
    """What a drill says. The labels and their order are what the pupil will read."""

    title = forms.CharField(
        max_length=120,
        label="Title",
        widget=forms.TextInput(attrs={"placeholder": "Octaves, one and a half octaves up"}),
    )
    words = forms.CharField(
        label="What to practise, and how",
        max_length=4000,
        widget=forms.Textarea(attrs={"rows": 8}),
        help_text="And what to send. The pupil reads it just as you write it.",
    )
    interval = forms.ChoiceField(
        choices=sorted(Interval.choices, key=lambda choice: choice[0] != Interval.MIXED),
        required=False,
        label="Interval",
        help_text="Clips that answer the drill are judged as this interval.",
    )
    key = forms.ChoiceField(
        choices=KEYS, required=False, label="Key", help_text="Notes are spelled in this key."
    )

    @classmethod
    def of(cls, version: DrillVersion, data=None) -> "DrillForm":
        """The form filled with what a version says; a key of other spelling stays on offer."""
        form = cls(data, initial={name: getattr(version, name) for name in cls.base_fields})
        if version.key and version.key not in dict(KEYS):
            form.fields["key"].choices = [*KEYS, (version.key, version.key)]
        return form


class SetDrillForm(forms.Form):
    """Set the newest version of a drill: it stands in the pupil's queue at once."""

    drill = forms.ModelChoiceField(
        queryset=Drill.objects.none(), label="Drill", empty_label="Choose a drill"
    )
    due_on = forms.DateField(
        required=False,
        label="Due",
        widget=forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"}),
    )
    goal = forms.CharField(
        required=False,
        max_length=200,
        label="Goal",
        widget=forms.TextInput(attrs={"placeholder": "Each octave held until it is still"}),
    )

    def __init__(self, teacher: Person, studio_id: int, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["drill"]
        field.queryset = access.shelf_of(teacher).filter(studio=studio_id)
        field.label_from_instance = lambda drill: drill.newest().title

    def clean_due_on(self):
        day = self.cleaned_data["due_on"]
        if day and day < timezone.localdate():
            raise forms.ValidationError(
                f"{day:%-d %B %Y} is past. Choose today or a later day, or leave it empty."
            )
        return day
