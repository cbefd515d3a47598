"""What a teacher says of a pupil's key rotation."""

from datetime import date, timedelta

from django import forms
from django.utils import timezone
from django.utils.translation import gettext as _

from studio import figures
from studio.translating import gettext_lazy

from ..models import ShelfSettings
from ..saying import OF_WORD
from . import plan
from .fields import LessonsField, LinesField, RoundsField
from .lists import RANGES, LessonKeys, RoundSettings
from .models import Rotation, Round
from .plan import EVERY_WEEKS_BOUNDS, LONGEST_HOLIDAY_DAYS, MAJOR_KEYS, Holiday
from .starts import Start, words_of

FURTHEST = timedelta(days=366)  # a plan begins within a year from today
EVERY_WEEKS = [
    (1, gettext_lazy("every week")),
    (2, gettext_lazy("every second week")),
    (3, gettext_lazy("every third week")),
]
EVERY_WEEKS.append((EVERY_WEEKS_BOUNDS[1], gettext_lazy("every fourth week")))
PAIRINGS = [
    ("tonic", gettext_lazy("the same tonic: G major with G minor")),
    ("signature", gettext_lazy("the same signature: G major with E minor")),
]
KEYS_A_LESSON = [
    (1, gettext_lazy("one key")),
    (2, gettext_lazy("two keys")),
    (3, gettext_lazy("three keys")),
    (4, gettext_lazy("four keys")),
]
GOAL = gettext_lazy("Each double stop held until it is still")


def _day(label: str, **more) -> forms.DateField:
    widget = forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"})
    return forms.DateField(label=label, widget=widget, **more)


class RhythmForm(forms.Form):
    """When the next lesson is, and how often."""

    first_on = _day(
        gettext_lazy("Next lesson"),
        help_text=gettext_lazy("The others follow on the same weekday."),
    )
    every_weeks = forms.TypedChoiceField(
        choices=EVERY_WEEKS, coerce=int, label=gettext_lazy("Then")
    )

    def clean_first_on(self) -> date:
        day, today = self.cleaned_data["first_on"], timezone.localdate()
        if not today <= day <= today + FURTHEST:
            raise forms.ValidationError(
                _(
                    "%(day)s is not within a year from today. Choose today or a later day, up "
                    "to %(today)s."
                )
                % {"day": figures.long_date(day), "today": figures.long_date(today + FURTHEST)}
            )
        return day


class ProposalForm(forms.Form):
    """All 24 keys as this project proposes them, to begin a list of one's own with."""

    first = forms.ChoiceField(
        choices=[(key.tonic, key.name) for key in MAJOR_KEYS],
        label=gettext_lazy("First key"),
        help_text=gettext_lazy("The others follow round the circle of fifths."),
        initial=plan.FIRST_TONIC,
    )
    pairing = forms.ChoiceField(choices=PAIRINGS, label=gettext_lazy("Major and minor together"))
    keys_a_lesson = forms.TypedChoiceField(
        choices=KEYS_A_LESSON,
        coerce=int,
        label=gettext_lazy("Each lesson"),
        initial=plan.KEYS_A_LESSON,
    )

    def lessons(self) -> tuple[LessonKeys, ...]:
        return plan.proposed(**self.cleaned_data)


class BeginForm(RhythmForm):
    """A new plan, with the teacher's own lists."""

    lessons = LessonsField()
    rounds = RoundsField()
    readiness = LinesField(
        label=gettext_lazy("Ready for double stops"), help_text=gettext_lazy("A line each.")
    )
    done_when = LinesField(
        label=gettext_lazy("A key counts as done when"), help_text=gettext_lazy("A line each.")
    )
    keep = forms.BooleanField(
        required=False, label=gettext_lazy("Begin my next plans with these lists")
    )

    def __init__(self, start: Start, intervals: tuple[str, ...], *args, **kwargs) -> None:
        says = {name: getattr(start, name) for name in self.base_fields if hasattr(start, name)}
        says["first_on"] = timezone.localdate() + timedelta(days=7)
        super().__init__(*args, initial=says, **kwargs)
        self.fields["rounds"].know(intervals)
        self.is_own = start.is_own

    def propose(self, lessons: tuple[LessonKeys, ...]) -> None:
        """Show these keys."""
        self.initial["lessons"] = lessons

    def start(self) -> Start:
        """The lists as they were sent."""
        names = ("lessons", "rounds", "readiness", "done_when")
        return Start(**{name: self.cleaned_data[name] for name in names})

    def rhythm(self) -> dict:
        return {name: self.cleaned_data[name] for name in RhythmForm.base_fields}


class HolidayForm(forms.Form):
    """Days without lessons."""

    first_on = _day("From")
    last_on = _day("To", required=False, help_text=gettext_lazy("Empty: this one day."))

    def clean(self) -> dict:
        said = super().clean()
        first_on, last_on = said.get("first_on"), said.get("last_on")
        if first_on is None or "last_on" in self.errors:
            return said
        last_on = last_on or first_on
        if last_on < first_on:
            self.add_error(
                "last_on",
                _("%(last_on)s is before %(first_on)s. Choose that day or a later.")
                % {"last_on": figures.long_date(last_on), "first_on": figures.long_date(first_on)},
            )
        elif (last_on - first_on).days >= LONGEST_HOLIDAY_DAYS:
            self.add_error(
                "last_on",
                _("This is longer than %(longest_holiday_days)s days. Choose an earlier day.")
                % {"longest_holiday_days": LONGEST_HOLIDAY_DAYS},
            )
        elif last_on < timezone.localdate():
            self.add_error(
                "first_on", _("These days are past. Only lessons that are to come move.")
            )
        else:
            said["span"] = Holiday(first_on, last_on)
        return said


class RoundForm(forms.Form):
    """Which intervals a round is in, where it is played, and the keys that are to come."""

    intervals = forms.MultipleChoiceField(
        choices=[],
        widget=forms.CheckboxSelectMultiple,
        label=gettext_lazy("Intervals, in your order"),
        error_messages={"required": gettext_lazy("A round needs one interval at least. Tick one.")},
    )
    strings = forms.ChoiceField(choices=Round.Strings, required=False, label=gettext_lazy("Played"))
    octaves = forms.TypedChoiceField(
        choices=list(RANGES.items()), coerce=int, label=gettext_lazy("Range of the lower note")
    )
    lessons = LessonsField(required=False, label=gettext_lazy("Keys to come, a lesson a line"))

    def __init__(self, one: Round, order: tuple[str, ...], data=None) -> None:
        lessons = list(one.lessons.all())
        waiting = [lesson for lesson in lessons if lesson.done_on is None]
        says = {
            "intervals": one.intervals,
            "strings": one.strings,
            "octaves": one.octaves,
            "lessons": [[planned.key for planned in lesson.planned] for lesson in waiting],
        }
        super().__init__(data, initial=says, auto_id=f"id_round{one.number}_%s")
        self.fields["intervals"].choices = [(word, OF_WORD[word].label) for word in order]
        self.fields["lessons"].widget.attrs["rows"] = min(max(len(waiting) + 1, 3), 14)
        self.is_begun = len(waiting) < len(lessons)

    @classmethod
    def of(cls, one: Round, settings: ShelfSettings, data=None) -> "RoundForm":
        return cls(one, settings.order, data)

    def clean_intervals(self) -> list[str]:
        """In the studio's order, whatever the order they were sent in."""
        chosen = self.cleaned_data["intervals"]
        return [word for word, _rest in self.fields["intervals"].choices if word in chosen]

    def clean_lessons(self) -> tuple[LessonKeys, ...] | None:
        """``None`` where the form was sent without them, by a page that had none."""
        if "lessons" not in self.data:
            return None
        lessons = self.cleaned_data["lessons"]
        if not lessons and not self.is_begun:
            raise forms.ValidationError(
                _("A round needs one lesson at least. Write its keys, or take the round out.")
            )
        return lessons

    def settings(self) -> RoundSettings:
        said = self.cleaned_data
        return RoundSettings(tuple(said["intervals"]), said["strings"], said["octaves"])


class ReadinessForm(forms.Form):
    """What the pupil is ready for, by place in the list."""

    ready = forms.TypedMultipleChoiceField(
        coerce=int, required=False, widget=forms.CheckboxSelectMultiple
    )

    def __init__(self, rotation: Rotation, data=None) -> None:
        super().__init__(data)
        self.fields["ready"].choices = [
            (place, line["words"]) for place, line in enumerate(rotation.readiness)
        ]


class ListsForm(forms.Form):
    """What is to be in order before double stops, and when a key counts as done."""

    readiness = LinesField(
        label=gettext_lazy("Ready for double stops"), help_text=gettext_lazy("A line each.")
    )
    done_when = LinesField(
        label=gettext_lazy("A key counts as done when"), help_text=gettext_lazy("A line each.")
    )

    def __init__(self, rotation: Rotation, data=None) -> None:
        says = {"readiness": words_of(rotation.readiness), "done_when": rotation.done_when}
        super().__init__(data, initial=says, auto_id="id_lists_%s")
        for field in self.fields.values():  # the column is narrow
            field.widget.attrs["rows"] = 9


class SetForm(forms.Form):
    """Which of a lesson's drills go into the queue, until when, and what for."""

    due_on = _day(gettext_lazy("Due"), required=False)
    goal = forms.CharField(max_length=200, required=False, label=gettext_lazy("Goal"), initial=GOAL)

    def clean_due_on(self) -> date | None:
        day = self.cleaned_data["due_on"]
        if day and day < timezone.localdate():
            raise forms.ValidationError(
                _("%(day)s is past. Choose today or a later day, or leave it empty.")
                % {"day": figures.long_date(day)}
            )
        return day
