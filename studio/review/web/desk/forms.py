"""What the desk accepts: comments, decisions, tolerances, marks by hand, drills, the return."""

from collections.abc import Sequence
from datetime import timedelta

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone
from django.utils.translation import gettext as _

from studio.drills.forms import DrillForm, GoalForm
from studio.drills.models import Drill
from studio.drills.widgets import LongSelect
from studio.figures import parse_place, place, seconds
from studio.review.comments import CommentText
from studio.review.marks.hand_marks import LONGEST_S, HandMarkText
from studio.review.marks.mark import Mark
from studio.review.marks.tolerances import LEAST_CENTS, MOST_CENTS
from studio.review.models import Comment, Decision
from studio.translating import gettext_lazy

DEFAULT_DUE = timedelta(days=7)
MAX_TEXT = 4000
MOMENT_SLACK_S = 0.5  # a playable copy may be a frame longer than the recording said


class MomentField(forms.CharField):
    """A moment on the clip's time axis, in seconds, written as ``1:02.4`` or ``62.4``."""

    widget = forms.TextInput(attrs={"inputmode": "decimal", "size": 7})

    def to_python(self, value):
        text = super().to_python(value)
        if not text:
            return None
        try:
            return parse_place(text)
        except ValueError as error:
            raise ValidationError(str(error)) from None

    def prepare_value(self, value):
        return place(value, 2) if isinstance(value, int | float) else value


def inside(seconds: float, duration_s: float | None) -> float:
    """A moment of the clip; a ``ValidationError`` says how long the clip is where it is none."""
    if duration_s is not None and seconds > duration_s + MOMENT_SLACK_S:
        raise ValidationError(
            _("%(seconds)s is after the end; the clip lasts %(duration_s)s.")
            % {"seconds": place(seconds, 1), "duration_s": place(duration_s, 1)}
        )
    return seconds


class DeskForm(forms.Form):
    """Ids are unique in a page that holds many of the same form."""

    def __init__(self, *args, name: str = "", **kwargs):
        super().__init__(*args, auto_id=f"{name}-%s" if name else "id_%s", **kwargs)


class CommentForm(DeskForm):
    kind = forms.ChoiceField(choices=Comment.Kind.choices, widget=forms.RadioSelect)
    text = forms.CharField(
        max_length=MAX_TEXT,
        required=False,
        label=gettext_lazy("Comment"),
        widget=forms.Textarea(
            attrs={"rows": 3, "placeholder": gettext_lazy("What to listen for, what to change")}
        ),
    )
    start_s = MomentField(
        label=gettext_lazy("At"),
        error_messages={"required": gettext_lazy("Say at which moment, such as 1:02.4.")},
    )
    end_s = MomentField(label=gettext_lazy("until"), required=False)
    form_key = forms.CharField(max_length=64, required=False, widget=forms.HiddenInput)
    version = forms.IntegerField(required=False, widget=forms.HiddenInput)

    def __init__(
        self,
        *args,
        duration_s: float | None = None,
        speaks: bool = False,
        notes: dict[str, str] | None = None,
        **kwargs,
    ) -> None:
        """``speaks``: a recording or a drawing says it, so that words may be left out.

        ``notes`` are what the drill's page has, by id: a comment may be about one of them.
        """
        super().__init__(*args, **kwargs)
        if notes:
            self.fields["score_ref"] = forms.ChoiceField(
                choices=[("", _("this moment")), *notes.items()],
                required=False,
                label=_("About"),
                error_messages={"invalid_choice": _("That note is not in the drill's page.")},
            )
        self.duration_s, self.speaks = duration_s, speaks
        self.fields["kind"].initial = Comment.Kind.INTONATION

    def clean_text(self) -> str:
        text = self.cleaned_data["text"]
        if not text and not self.speaks:
            raise ValidationError(_("Write what you want to say."))
        return text

    def clean_start_s(self) -> float:
        return self._inside(self.cleaned_data["start_s"])

    def clean_end_s(self) -> float | None:
        end_s = self.cleaned_data["end_s"]
        return None if end_s is None else self._inside(end_s)

    def said(self) -> CommentText:
        """A span dragged backwards is the same span; one without length is a moment."""
        data = self.cleaned_data
        start_s, end_s = data["start_s"], data["end_s"]
        if end_s is not None:
            start_s, end_s = min(start_s, end_s), max(start_s, end_s)
        end_s = None if end_s == start_s else end_s
        ref = data.get("score_ref", "")
        return CommentText(data["kind"], data["text"], start_s, end_s, ref)

    def _inside(self, seconds: float) -> float:
        return inside(seconds, self.duration_s)


class DecisionForm(DeskForm):
    """``choice`` is kept, dropped, or empty to take the decision back."""

    choice = forms.ChoiceField(choices=[("", ""), *Decision.Choice.choices], required=False)
    words = forms.CharField(
        max_length=MAX_TEXT,
        required=False,
        label=gettext_lazy("In your own words"),
        widget=forms.Textarea(attrs={"rows": 3}),
    )
    start_s = MomentField(required=False)
    end_s = MomentField(required=False)
    about = forms.CharField(max_length=200, required=False)
    listening = forms.IntegerField(widget=forms.HiddenInput)
    seen = forms.IntegerField(required=False, widget=forms.HiddenInput)

    @property
    def can_be_said(self) -> bool:
        """Whether all that is wrong was typed; the rest no page sends."""
        return self.errors.keys() <= {"words", "start_s", "end_s"}

    def sentences(self) -> str:
        """What is wrong."""
        return " ".join(error for errors in self.errors.values() for error in errors)


class SettingForm(GoalForm, DeskForm):
    """When a drill is due, and what it is to reach, in words and in figures."""

    FIGURES = ("share_percent", "tolerance_cents", "playings", "single_notes")

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["due_on"].initial = timezone.localdate() + DEFAULT_DUE

    def plain(self) -> list[forms.BoundField]:
        """The fields that are always in sight."""
        return [field for field in self if field.name not in self.FIGURES]

    def in_figures(self) -> list[forms.BoundField]:
        return [field for field in self if field.name in self.FIGURES]


class SetDrillForm(SettingForm):
    """A drill from the shelf."""

    field_order = ["drill", "due_on", "goal"]
    drill = forms.ModelChoiceField(
        queryset=None,
        empty_label=gettext_lazy("Choose a drill"),
        widget=LongSelect,
        error_messages={
            "required": gettext_lazy("Choose a drill from the shelf."),
            "invalid_choice": gettext_lazy("That drill is no longer on the shelf; choose another."),
        },
    )

    def __init__(self, *args, shelf=None, titles=None, **kwargs):
        """``shelf`` is what may be set; a form to be shown, and no more, needs its ``titles``."""
        super().__init__(*args, **kwargs)
        field = self.fields["drill"]
        field.queryset = Drill.objects.none() if shelf is None else shelf
        field.label_from_instance = lambda drill: drill.newest_title
        if titles is not None:
            field.choices = [("", field.empty_label), *titles]

    @property
    def offers(self) -> bool:
        """Whether there is any drill to choose."""
        return any(key for key, _rest in self.fields["drill"].choices)


class NewDrillForm(DrillForm, SettingForm):
    """A drill written here, in words: it has no page to hold figures against. Goes on the shelf."""

    share_percent = tolerance_cents = playings = single_notes = None
    field_order = ["title", "words", "interval", "key", "due_on", "goal"]

    def says(self) -> dict[str, str]:
        return {name: self.cleaned_data[name] for name in DrillForm.base_fields}


class SummaryForm(DeskForm):
    summary = forms.CharField(
        max_length=MAX_TEXT,
        required=False,
        widget=forms.Textarea(attrs={"rows": 4}),
        help_text=gettext_lazy("Three things at most, and what went well first."),
    )
    # What the page showed, so that nobody else's text is replaced unseen.
    seen = forms.CharField(max_length=MAX_TEXT, required=False, widget=forms.HiddenInput)


class ReturnForm(forms.Form):
    """``seen`` names the preview that was looked at, so that nothing else is returned."""

    seen = forms.CharField(max_length=64)


SHOWN_S = 0.011  # moments are shown floored to the hundredth


class BulkForm(forms.Form):
    """Of one kind, or, where none is named, of all kinds."""

    kind = forms.CharField(max_length=80, required=False)
    choice = forms.ChoiceField(choices=Decision.Choice.choices)
    listening = forms.IntegerField()


class ToleranceForm(DeskForm):
    """Cents within which a double stop is in tune, for this clip."""

    perfect = forms.FloatField(
        min_value=LEAST_CENTS,
        max_value=MOST_CENTS,
        step_size=0.5,
        label=gettext_lazy("Octaves, fifths, fourths, unisons"),
    )
    other = forms.FloatField(
        min_value=LEAST_CENTS,
        max_value=MOST_CENTS,
        step_size=0.5,
        label=gettext_lazy("Thirds, sixths, tenths"),
    )
    seen_perfect = forms.FloatField(required=False, widget=forms.HiddenInput)
    seen_other = forms.FloatField(required=False, widget=forms.HiddenInput)

    def chosen(self) -> dict[str, float]:
        return {name: self.cleaned_data[name] for name in ("perfect", "other")}

    def seen(self) -> dict[str, float | None]:
        return {name: self.cleaned_data[f"seen_{name}"] for name in ("perfect", "other")}


class HandMarkForm(DeskForm):
    words = forms.CharField(
        max_length=MAX_TEXT,
        label=gettext_lazy("What to change here"),
        widget=forms.Textarea(attrs={"rows": 2}),
        error_messages={"required": gettext_lazy("Write what the mark is about.")},
    )
    start_s = MomentField(
        label=gettext_lazy("Mark from"),
        error_messages={"required": gettext_lazy("Say from where on.")},
    )
    end_s = MomentField(
        label=gettext_lazy("to"), error_messages={"required": gettext_lazy("Say until where.")}
    )
    form_key = forms.CharField(max_length=64, required=False, widget=forms.HiddenInput)
    version = forms.IntegerField(required=False, widget=forms.HiddenInput)

    def __init__(self, *args, duration_s: float | None = None, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.duration_s = duration_s

    def clean(self) -> dict:
        data = super().clean() or {}
        start_s, end_s = data.get("start_s"), data.get("end_s")
        if start_s is not None and end_s is not None:
            data["start_s"], data["end_s"] = span_of(start_s, end_s, self.duration_s)
        return data

    def said(self) -> HandMarkText:
        data = self.cleaned_data
        return HandMarkText(data["words"], data["start_s"], data["end_s"])


class BarPinForm(DeskForm):
    """Which bar of the drill's page a place of the clip is."""

    start_s = MomentField(
        label=gettext_lazy("From"), error_messages={"required": gettext_lazy("Say from where on.")}
    )
    end_s = MomentField(
        label=gettext_lazy("to"), error_messages={"required": gettext_lazy("Say until where.")}
    )
    bar = forms.TypedChoiceField(
        coerce=int,
        label=gettext_lazy("is bar"),
        widget=forms.TextInput(attrs={"inputmode": "numeric", "size": 4, "list": "pin-bars"}),
        error_messages={
            "required": gettext_lazy("Choose a bar of the page."),
            "invalid_choice": gettext_lazy("The page has no such bar."),
        },
    )

    def __init__(
        self, *args, bars: Sequence[int] = (), duration_s: float | None = None, **kwargs
    ) -> None:
        super().__init__(*args, **kwargs)
        self.fields["bar"].choices = [(bar, bar) for bar in bars]
        self.duration_s = duration_s

    def clean(self) -> dict:
        data = super().clean() or {}
        start_s, end_s = data.get("start_s"), data.get("end_s")
        if start_s is not None and end_s is not None:
            data["start_s"], data["end_s"] = span_of(start_s, end_s, self.duration_s)
        return data

    def span(self) -> tuple[float, float]:
        """In seconds."""
        return self.cleaned_data["start_s"], self.cleaned_data["end_s"]


def span_of(start_s: float, end_s: float, duration_s: float | None) -> tuple[float, float]:
    """A mark's span: inside the clip, forwards, and no longer than a minute.

    Raises
    ------
    ValidationError
        With the bound.
    """
    start_s, end_s = sorted((inside(start_s, duration_s), inside(end_s, duration_s)))
    if end_s - start_s > LONGEST_S:
        raise forms.ValidationError(
            _(
                "A mark of %(end_s)s is too long; %(longest_s)s at most. Make a comment "
                "over a span of it."
            )
            % {"end_s": seconds(end_s - start_s), "longest_s": seconds(LONGEST_S)}
        )
    if end_s == start_s:
        raise forms.ValidationError(_("A mark needs a length: choose an end after its start."))
    return start_s, end_s


def own_span(said: dict, mark: Mark, duration_s: float | None) -> tuple[float, float] | None:
    """The teacher's span of a mark; ``None`` where it is the mark's own, as the page shows it.

    Raises
    ------
    ValidationError
        Where it is none of the clip's.
    """
    start_s, end_s = said["start_s"], said["end_s"]
    if start_s is None or end_s is None:
        return None
    span = span_of(start_s, end_s, duration_s)
    as_shown = max(abs(span[0] - mark.start_s), abs(span[1] - mark.end_s)) <= SHOWN_S
    return None if as_shown else span
