"""What a teacher says of a pupil's key rotation."""

from datetime import date, timedelta

from django import forms
from django.utils import timezone

from studio import figures

from ..models import ShelfSettings
from . import plan
from .models import READINESS, Round
from .plan import EVERY_WEEKS_BOUNDS, LONGEST_HOLIDAY_DAYS, MAJOR_KEYS, Holiday

FURTHEST = timedelta(days=366)  # a plan begins within a year from today
EVERY_WEEKS = [(1, "every week"), (2, "every second week"), (3, "every third week")]
EVERY_WEEKS.append((EVERY_WEEKS_BOUNDS[1], "every fourth week"))
PAIRINGS = [
    ("tonic", "the same tonic: G major with G minor"),
    ("signature", "the same signature: G major with E minor"),
]
OCTAVES = [(1, "one octave"), (2, "two octaves"), (3, "three octaves")]
GOAL = "Each double stop held until it is still"


def _day(label: str, **more) -> forms.DateField:
    widget = forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"})
    return forms.DateField(label=label, widget=widget, **more)


class RhythmForm(forms.Form):
    """When the next lesson is, and how often."""

    first_on = _day("Next lesson", help_text="The others follow on the same weekday.")
    every_weeks = forms.TypedChoiceField(choices=EVERY_WEEKS, coerce=int, label="Then")

    def clean_first_on(self) -> date:
        day, today = self.cleaned_data["first_on"], timezone.localdate()
        if not today <= day <= today + FURTHEST:
            raise forms.ValidationError(
                f"{figures.long_date(day)} is not within a year from today. Choose today or a "
                f"later day, up to {figures.long_date(today + FURTHEST)}."
            )
        return day


class BeginForm(RhythmForm):
    """A new plan."""

    first = forms.ChoiceField(
        choices=[(key.tonic, key.name) for key in MAJOR_KEYS],
        label="First key",
        help_text="The others follow round the circle of fifths.",
    )
    pairing = forms.ChoiceField(choices=PAIRINGS, label="Major and minor together")
    strings = forms.ChoiceField(
        choices=[choice for choice in Round.Strings.choices if choice[0]],
        label="The second round",
        help_text="The first goes across the strings.",
    )

    def __init__(self, *args, **kwargs) -> None:
        usual = {
            "first": plan.FIRST_TONIC,
            "strings": Round.Strings.MIDDLE,
            "first_on": timezone.localdate() + timedelta(days=7),
        }
        super().__init__(*args, initial=usual, **kwargs)


class HolidayForm(forms.Form):
    """Days without lessons."""

    first_on = _day("From")
    last_on = _day("To", required=False, help_text="Empty: this one day.")

    def clean(self) -> dict:
        said = super().clean()
        first_on, last_on = said.get("first_on"), said.get("last_on")
        if first_on is None or "last_on" in self.errors:
            return said
        last_on = last_on or first_on
        if last_on < first_on:
            self.add_error(
                "last_on",
                f"{figures.long_date(last_on)} is before {figures.long_date(first_on)}. "
                "Choose that day or a later.",
            )
        elif (last_on - first_on).days >= LONGEST_HOLIDAY_DAYS:
            self.add_error(
                "last_on",
                f"This is longer than {LONGEST_HOLIDAY_DAYS} days. Choose an earlier day.",
            )
        elif last_on < timezone.localdate():
            self.add_error("first_on", "These days are past. Only lessons that are to come move.")
        else:
            said["span"] = Holiday(first_on, last_on)
        return said


class RoundForm(forms.Form):
    """Which intervals a round is in, and where it is played."""

    intervals = forms.MultipleChoiceField(
        choices=[],
        widget=forms.CheckboxSelectMultiple,
        label="Intervals, in your order",
        error_messages={"required": "A round needs one interval at least. Tick one."},
    )
    strings = forms.ChoiceField(choices=Round.Strings, required=False, label="Played")
    octaves = forms.TypedChoiceField(choices=OCTAVES, coerce=int, label="Range of the lower note")

    def __init__(self, one: Round, order: tuple[str, ...], data=None) -> None:
        says = {"intervals": one.intervals, "strings": one.strings, "octaves": one.octaves}
        super().__init__(data, initial=says, auto_id=f"id_round{one.number}_%s")
        self.fields["intervals"].choices = [(word, word) for word in order]

    @classmethod
    def of(cls, one: Round, settings: ShelfSettings, data=None) -> "RoundForm":
        return cls(one, settings.order, data)

    def clean_intervals(self) -> list[str]:
        """In the studio's order, whatever the order they were sent in."""
        chosen = self.cleaned_data["intervals"]
        return [word for word, _ in self.fields["intervals"].choices if word in chosen]


class ReadinessForm(forms.Form):
    """What the pupil is ready for."""

    ready = forms.MultipleChoiceField(
        choices=list(READINESS.items()), required=False, widget=forms.CheckboxSelectMultiple
    )


class SetForm(forms.Form):
    """Which of a lesson's drills go into the queue, until when, and what for."""

    due_on = _day("Due", required=False)
    goal = forms.CharField(max_length=200, required=False, label="Goal", initial=GOAL)

    def clean_due_on(self) -> date | None:
        day = self.cleaned_data["due_on"]
        if day and day < timezone.localdate():
            raise forms.ValidationError(
                f"{figures.long_date(day)} is past. Choose today or a later day, or leave it empty."
            )
        return day
