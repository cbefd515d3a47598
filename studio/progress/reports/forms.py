"""The period of a report, and what a teacher writes in it."""

from collections.abc import Sequence
from datetime import date, timedelta

from django import forms
from django.utils.translation import gettext_lazy as _

from studio import figures
from studio.progress.report_rows import LONGEST_WORDS, MOST_PICTURES, TermReport

LONGEST_DAYS = 400  # of a period: chosen, a school year and its holidays
USUAL_DAYS = 120  # a term: chosen


class PeriodForm(forms.Form):
    """From which day until which."""

    since = forms.DateField(
        label=_("From"), widget=forms.DateInput({"type": "date"}, format="%Y-%m-%d")
    )
    until = forms.DateField(
        label=_("Until"), widget=forms.DateInput({"type": "date"}, format="%Y-%m-%d")
    )

    def clean(self) -> dict:
        said = self.cleaned_data
        since, until = said.get("since"), said.get("until")
        if since and until and not since <= until <= since + timedelta(days=LONGEST_DAYS):
            self.add_error(
                "until",
                _("%(until)s is not within %(days)d days after %(since)s. Choose another day.")
                % {
                    "until": figures.long_date(until),
                    "since": figures.long_date(since),
                    "days": LONGEST_DAYS,
                },
            )
        return said


def usual_period(today: date) -> dict[str, date]:
    return {"since": today - timedelta(days=USUAL_DAYS), "until": today}


class ReportForm(PeriodForm):
    """All of a draft. ``choices`` are names of answers with their sentences."""

    words = forms.CharField(
        label=_("Your words"),
        required=False,
        max_length=LONGEST_WORDS,
        widget=forms.Textarea({"rows": 8}),
        help_text=_("For the pupil and the guardians. An empty line begins a new paragraph."),
    )
    comes_next = forms.CharField(
        label=_("What comes next"),
        required=False,
        max_length=LONGEST_WORDS,
        widget=forms.Textarea({"rows": 4}),
    )

    def __init__(self, *args, choices: Sequence[tuple[str, str]], **kwargs):
        super().__init__(*args, **kwargs)
        none = ("", _("No picture"))
        for number in range(1, MOST_PICTURES + 1):
            self.fields[f"picture_{number}"] = forms.ChoiceField(
                label=_("Picture %(number)d") % {"number": number},
                choices=[none, *choices],
                required=False,
            )

    @classmethod
    def initial_of(cls, report: TermReport) -> dict:
        said = {name: getattr(report, name) for name in ("since", "until", "words", "comes_next")}
        return said | {f"picture_{n}": name for n, name in enumerate(report.pictures, start=1)}

    def says(self) -> dict:
        """What the draft is to hold; no picture twice."""
        said = self.cleaned_data
        names = [said[f"picture_{number}"] for number in range(1, MOST_PICTURES + 1)]
        return {
            **{name: said[name] for name in ("since", "until", "words", "comes_next")},
            "pictures": list(dict.fromkeys(name for name in names if name)),
        }
