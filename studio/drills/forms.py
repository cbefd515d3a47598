"""A drill in words, what is set with it, and how a studio orders its shelf."""

from django import forms
from django.utils import timezone
from django.utils.translation import gettext as _

from studio import figures
from studio.accounts.forms import LONGEST_STRING_MM, SHORTEST_STRING_MM
from studio.accounts.models import Instrument, Level, Person
from studio.theory.keys import ALL_KEYS
from studio.translating import gettext_lazy

from . import access
from .models import Drill, DrillVersion, Interval, ShelfSettings, SingleNotes
from .suitability import SuitableForm
from .widgets import LongSelect

KEYS = [("", gettext_lazy("any key"))] + [(key.name, key.name) for key in ALL_KEYS]


class DrillForm(forms.Form):
    """What a drill says. The labels and their order are what the pupil will read."""

    title = forms.CharField(
        max_length=120,
        label=gettext_lazy("Title"),
        widget=forms.TextInput(
            attrs={"placeholder": gettext_lazy("Octaves, one and a half octaves up")}
        ),
    )
    words = forms.CharField(
        label=gettext_lazy("What to practise, and how"),
        max_length=4000,
        widget=forms.Textarea(attrs={"rows": 8}),
        help_text=gettext_lazy("And what to send. The pupil reads it just as you write it."),
    )
    interval = forms.ChoiceField(
        choices=sorted(Interval.choices, key=lambda choice: choice[0] != Interval.MIXED),
        required=False,
        label=gettext_lazy("Interval"),
        help_text=gettext_lazy("Clips that answer the drill are judged as this interval."),
    )
    key = forms.ChoiceField(
        choices=KEYS,
        required=False,
        label=gettext_lazy("Key"),
        help_text=gettext_lazy("Notes are spelled in this key."),
    )


class ShelfDrillForm(DrillForm):
    """A drill in words, with what it is found by on the shelf."""

    level = forms.ChoiceField(
        choices=[("", gettext_lazy("any level")), *Level.choices],
        required=False,
        label=gettext_lazy("Level"),
    )
    tags = forms.CharField(
        max_length=200,
        required=False,
        label=gettext_lazy("Tags"),
        help_text=gettext_lazy("Further words to find it by."),
    )

    @classmethod
    def of(cls, version: DrillVersion, data=None) -> "ShelfDrillForm":
        """The form filled with what a version says; a key of other spelling stays on offer."""
        says = {name: getattr(version, name) for name in cls.base_fields if name != "tags"}
        form = cls(data, initial=says | {"tags": version.drill.tags})
        if version.key and version.key not in dict(KEYS):
            form.fields["key"].choices = [*KEYS, (version.key, version.key)]
        return form


class GoalForm(SuitableForm):
    """What counts as done: in words, and in figures that a clip can be held against."""

    due_on = forms.DateField(
        required=False,
        label=gettext_lazy("Due"),
        widget=forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"}),
    )
    goal = forms.CharField(
        required=False,
        max_length=200,
        label=gettext_lazy("Goal"),
        widget=forms.TextInput(
            attrs={"placeholder": gettext_lazy("Each octave held until it is still")}
        ),
    )
    share_percent = forms.IntegerField(
        required=False,
        min_value=1,
        max_value=100,
        label=gettext_lazy("Share in tune, in per cent"),
        help_text=gettext_lazy("Of the notes written. Needs a drill with a page."),
    )
    tolerance_cents = forms.IntegerField(
        required=False,
        min_value=1,
        max_value=60,
        label=gettext_lazy("Tolerance in cents"),
        help_text=gettext_lazy(
            "Empty: as for the pupil’s level. Clips that answer the drill are judged by it."
        ),
    )
    playings = forms.IntegerField(
        required=False, min_value=1, max_value=12, label=gettext_lazy("Times each is to be played")
    )
    single_notes = forms.ChoiceField(
        choices=[("", gettext_lazy("as the drill is made")), *SingleNotes.choices],
        required=False,
        label=gettext_lazy("Judge single notes"),
        help_text=gettext_lazy(
            "Of a page with single notes and double stops. Otherwise only those of a drill "
            "made as one line are judged."
        ),
    )

    def clean_due_on(self):
        day = self.cleaned_data["due_on"]
        if day and day < timezone.localdate():
            raise forms.ValidationError(
                _("%(day)s is past. Choose today or a later day, or leave it empty.")
                % {"day": figures.long_date(day)}
            )
        return day

    def goals(self) -> dict:
        """What ``services.set_drill`` takes."""
        return {name: self.cleaned_data.get(name) for name in GoalForm.base_fields}


class SetDrillForm(GoalForm):
    """Set the newest version of a drill: it stands in the pupil's queue at once."""

    field_order = ["drill"]
    drill = forms.ModelChoiceField(
        queryset=Drill.objects.none(),
        label=gettext_lazy("Drill"),
        empty_label=gettext_lazy("Choose a drill"),
        widget=LongSelect,
    )

    def __init__(self, teacher: Person, studio_id: int, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["drill"]
        field.label_from_instance = lambda drill: drill.newest_title
        if self.is_bound:
            field.queryset = access.titles_on_shelf(teacher).filter(studio=studio_id)
        else:  # it is shown, and no more
            titles = access.titles_to_set(teacher, studio_id)
            field.choices = [("", field.empty_label), *titles]


class SetForForm(GoalForm):
    """Set the drill whose page it is, for a pupil of the studio."""

    field_order = ["pupil"]
    pupil = forms.ModelChoiceField(
        queryset=None,
        label=gettext_lazy("For"),
        empty_label=gettext_lazy("Choose a pupil"),
        widget=LongSelect,
    )

    def __init__(self, teacher: Person, drill: Drill, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["pupil"]
        field.queryset = access.pupils_of(teacher, drill.studio)
        field.label_from_instance = lambda enrolment: enrolment.pupil.name


class ShelfSettingsForm(forms.ModelForm):
    """The order in which intervals are taught, one a line, and the usual instrument."""

    order = forms.CharField(
        label=gettext_lazy("Intervals in the order you teach them"),
        widget=forms.Textarea(attrs={"rows": 7}),
        help_text=gettext_lazy(
            "One a line, the first taught first. What you leave out follows as usual."
        ),
    )
    instrument = forms.ChoiceField(choices=Instrument.Kind, label=gettext_lazy("Usual instrument"))
    string_length_mm = forms.FloatField(
        required=False,
        min_value=SHORTEST_STRING_MM,
        max_value=LONGEST_STRING_MM,
        label=gettext_lazy("Usual string length in mm"),
        help_text=gettext_lazy(
            "Where no pupil is meant. Empty: 328 mm for a violin, 370 mm for a viola."
        ),
    )

    class Meta:
        model = ShelfSettings
        fields = ("instrument", "string_length_mm")

    def __init__(self, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.fields["order"].initial = "\n".join(self.instance.order)

    def clean_order(self) -> list[str]:
        known = ShelfSettings.USUAL_ORDER
        words = self.cleaned_data["order"].replace(",", " ").lower().split()
        for word in words:
            if word not in known:
                raise forms.ValidationError(
                    _("“%(word)s” is not one of %(known)s. Write one of these a line.")
                    % {"word": word, "known": ", ".join(known)}
                )
        return list(dict.fromkeys(words))

    def save(self, commit: bool = True) -> ShelfSettings:
        self.instance.interval_order = self.cleaned_data["order"]
        return super().save(commit)
