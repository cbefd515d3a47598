"""The forms of a planned lesson: to plan, to move, to cancel."""

from datetime import date
from uuid import uuid4

from django import forms
from django.utils import timezone
from django.utils.translation import gettext as _

from studio import figures
from studio.accounts.models import Person
from studio.accounts.notification_forms import zones
from studio.translating import gettext_lazy

from . import access
from .clock import WEEK, weekly
from .models import PlannedLesson
from .services import MOST_WEEKS, When

SHORTEST_MIN, LONGEST_MIN, USUAL_MIN = 5, 480, 45
FURTHEST = MOST_WEEKS * WEEK  # ahead
ONE, FOLLOWING, HELD = "one", "following", "held"


def _day(label) -> forms.DateField:
    return forms.DateField(
        label=label, widget=forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"})
    )


class WhenForm(forms.Form):
    """When a lesson is, for how long, and where or how."""

    day = _day(gettext_lazy("Day"))
    at = forms.TimeField(
        label=gettext_lazy("Time"),
        widget=forms.TimeInput(format="%H:%M", attrs={"type": "time"}),
    )
    minutes = forms.IntegerField(
        label=gettext_lazy("Minutes"), min_value=SHORTEST_MIN, max_value=LONGEST_MIN
    )
    where = forms.CharField(
        required=False,
        max_length=200,
        label=gettext_lazy("Where or how"),
        help_text=gettext_lazy("A place, a link, a word. Pupil and guardians read it."),
    )
    zone = forms.ChoiceField(
        label=gettext_lazy("By the clock of"),
        help_text=gettext_lazy(
            "The lesson keeps its time there when clocks are put forward or back."
        ),
    )

    def __init__(self, *args, zone: str, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        known = dict.fromkeys([zone, *zones()])
        self.fields["zone"].choices = [(name, name.replace("_", " ")) for name in known]
        self.fields["zone"].initial = zone

    def clean_day(self) -> date:
        day, today = self.cleaned_data["day"], timezone.localdate()
        if not today - FURTHEST <= day <= today + FURTHEST:
            raise forms.ValidationError(
                _("%(day)s is more than a year away. Choose a nearer day.")
                % {"day": figures.long_date(day)}
            )
        return day

    @property
    def when(self) -> When:
        names = ("day", "at", "zone", "minutes", "where")
        return When(**{name: self.cleaned_data[name] for name in names})


class PlanForm(WhenForm):
    """Plan lessons for one pupil: one, or one each week."""

    field_order = ("pupil", "day", "at", "minutes", "until", "where", "zone")
    pupil = forms.ModelChoiceField(queryset=None, label=gettext_lazy("Pupil"))
    until = forms.DateField(
        required=False,
        label=gettext_lazy("Each week until"),
        widget=forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"}),
        help_text=gettext_lazy("Empty: this one lesson alone."),
    )
    form_key = forms.CharField(required=False, max_length=64, widget=forms.HiddenInput)

    def __init__(self, teacher: Person, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["pupil"]
        field.queryset = access.places_to_plan(teacher)
        field.label_from_instance = lambda enrolment: enrolment.pupil.name
        self.fields["minutes"].initial = USUAL_MIN
        self.fields["form_key"].initial = uuid4().hex

    def clean(self) -> dict:
        said = super().clean()
        day, until = said.get("day"), said.get("until")
        if day and until and until < day:
            self.add_error("until", _("This is before the first lesson. Choose a later day."))
        elif day and until and len(weekly(day, until)) > MOST_WEEKS:
            self.add_error(
                "until", _("This is more than a year of lessons. Choose an earlier day.")
            )
        return said


class MoveForm(WhenForm):
    """Move a lesson, alone or with all that follow in its series."""

    scope = forms.ChoiceField(
        required=False,
        label=gettext_lazy("Which lessons"),
        choices=[
            (ONE, gettext_lazy("this one alone")),
            (FOLLOWING, gettext_lazy("this one and all that follow")),
        ],
        widget=forms.RadioSelect,
        initial=ONE,
    )
    sequence = forms.IntegerField(min_value=0, widget=forms.HiddenInput)

    @classmethod
    def of(cls, lesson: PlannedLesson, data=None) -> "MoveForm":
        names = ("day", "at", "minutes", "where", "zone", "sequence")
        initial = {name: getattr(lesson, name) for name in names} | {"scope": ONE}
        made = cls(data, zone=lesson.zone, initial=initial)
        if lesson.series is None:
            del made.fields["scope"]
        return made

    @property
    def with_following(self) -> bool:
        return self.cleaned_data.get("scope") == FOLLOWING


class CancelForm(forms.Form):
    """Which of a series are cancelled, or that a cancelled one is held."""

    whether = forms.ChoiceField(choices=[(each, each) for each in (ONE, FOLLOWING, HELD)])
    sequence = forms.IntegerField(min_value=0)
