"""What the desk accepts about marks: all of a kind, the clip's tolerance, marks by hand."""

from django import forms

from studio.figures import seconds
from studio.review.by_hand import LONGEST_S, HandMarkText
from studio.review.marks import Mark
from studio.review.models import Decision
from studio.review.tolerances import LEAST_CENTS, MOST_CENTS

from .forms import MAX_TEXT, DeskForm, MomentField, inside

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
        label="Octaves, fifths, fourths, unisons",
    )
    other = forms.FloatField(
        min_value=LEAST_CENTS,
        max_value=MOST_CENTS,
        step_size=0.5,
        label="Thirds, sixths, tenths",
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
        label="What to change here",
        widget=forms.Textarea(attrs={"rows": 2}),
        error_messages={"required": "Write what the mark is about."},
    )
    start_s = MomentField(label="Mark from", error_messages={"required": "Say from where on."})
    end_s = MomentField(label="to", error_messages={"required": "Say until where."})
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
            f"A mark of {seconds(end_s - start_s)} is too long; {seconds(LONGEST_S)} at most. "
            "Make a comment over a span of it."
        )
    if end_s == start_s:
        raise forms.ValidationError("A mark needs a length: choose an end after its start.")
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
