"""The form in which practice is noted."""

from datetime import date, timedelta
from uuid import uuid4

from django import forms
from django.db.models import Q, QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _

from studio import figures
from studio.accounts.models import Enrolment
from studio.drills.access import published, scores_of
from studio.drills.models import Assignment

from . import for_children
from .models import LONGEST_WORD, MOST_MINUTES, PracticeEntry
from .services import Practised, days_open

DONE_OFFERED = timedelta(days=60)  # chosen: what was ticked off longer ago is not offered

Hand = PracticeEntry.Hand


class DrillChoice(forms.ModelChoiceField):
    def label_from_instance(self, assignment: Assignment) -> str:
        return assignment.version.title


class PracticeForm(forms.Form):
    """Minutes of a day. ``today``: where the person is; ``simple``: in a child's words; ``entry``:
    what is to be changed; ``drill``: what was practised, where the page is about it."""

    minutes = forms.IntegerField(min_value=1, max_value=MOST_MINUTES)
    unbroken_min = forms.IntegerField(min_value=1, max_value=MOST_MINUTES, required=False)
    hand = forms.ChoiceField(required=False, widget=forms.RadioSelect)
    assignment = DrillChoice(queryset=Assignment.objects.none(), required=False)
    day = forms.DateField(widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"))
    word = forms.CharField(max_length=LONGEST_WORD, required=False)
    form_key = forms.CharField(max_length=64, required=False, widget=forms.HiddenInput)

    def __init__(
        self,
        place: Enrolment,
        *args,
        today: date,
        simple: bool = False,
        entry: PracticeEntry | None = None,
        drill: Assignment | None = None,
        **more,
    ) -> None:
        initial = _initial(entry) if entry else {"day": today, "assignment": drill}
        super().__init__(*args, initial=initial | {"form_key": uuid4().hex}, **more)
        named = (entry.assignment_id if entry else None) or (drill.pk if drill else None)
        self.fields["assignment"].queryset = drills_to_name(place, named)
        self.fields["hand"].choices = _simple_hands() if simple else Hand.choices[1:]
        for name, label in (_simple_labels() if simple else _labels()).items():
            self.fields[name].label = label
        self.fields["assignment"].empty_label = "–"
        if not simple:
            self.fields["unbroken_min"].help_text = _("The longest stretch, in minutes.")
        first, last = days_open()
        self.fields["day"].widget.attrs |= {"min": f"{first}", "max": f"{last}"}

    def clean_day(self):
        """A day that can be noted; one that an entry has already stays its own."""
        day, (first, last) = self.cleaned_data["day"], days_open()
        if first <= day <= last or day == self.initial["day"]:
            return day
        raise forms.ValidationError(
            _("Choose a day from {first} to today.").format(first=figures.long_date(first))
        )

    def clean(self) -> dict:
        said = super().clean() or {}
        minutes, unbroken = said.get("minutes"), said.get("unbroken_min")
        if minutes and unbroken and unbroken > minutes:
            self.add_error(
                "unbroken_min",
                _(
                    "The longest stretch has {unbroken} minutes, and all of it {minutes}. "
                    "Make it {minutes} at most."
                ).format(unbroken=unbroken, minutes=minutes),
            )
        return said

    @property
    def said(self) -> Practised:
        """What a valid form says."""
        names = Practised.__slots__
        return Practised(**{name: self.cleaned_data[name] for name in names})


def drills_to_name(place: Enrolment, named: int | None = None) -> QuerySet[Assignment]:
    """The drills that an entry can be of: the queue, what was done lately, and one more."""
    lately = Q(done_at=None) | Q(done_at__gte=timezone.now() - DONE_OFFERED) | Q(pk=named)
    here = Assignment.objects.filter(published(), lately, enrolment=place)
    return here.select_related("version").defer(*scores_of("version")).order_by("position", "pk")


def _initial(entry: PracticeEntry) -> dict:
    names = ("minutes", "unbroken_min", "hand", "assignment", "day", "word")
    return {name: getattr(entry, name) for name in names}


def _labels() -> dict[str, str]:
    return {
        "minutes": _("Minutes played"),
        "unbroken_min": _("Without a rest"),
        "hand": _("How the hand felt"),
        "assignment": _("What was practised"),
        "day": _("Day"),
        "word": _("A word"),
    }


def _simple_labels() -> dict[str, str]:
    return {
        "minutes": str(for_children.MINUTES),
        "unbroken_min": str(for_children.UNBROKEN),
        "hand": str(for_children.HAND),
        "assignment": str(for_children.DRILL),
        "day": str(for_children.DAY),
        "word": str(for_children.WORD),
    }


def _simple_hands() -> list[tuple[str, str]]:
    words = for_children
    return [
        (Hand.EASY, str(words.HAND_GOOD)),
        (Hand.LITTLE_TIRED, str(words.HAND_BIT_TIRED)),
        (Hand.TIRED, str(words.HAND_TIRED)),
        (Hand.HURT, str(words.HAND_HURT)),
    ]
