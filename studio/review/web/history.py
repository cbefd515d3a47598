"""All of a pupil's lessons on one line of time, for her teachers, herself and her guardians."""

from dataclasses import replace
from datetime import date

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_safe

from studio.accounts import access as people
from studio.accounts.models import Enrolment
from studio.accounts.simple_reading import reads as reads_simply
from studio.drills.forms import KEYS
from studio.drills.models import Drill
from studio.drills.shelf import FAMILIES
from studio.review.history.asked import Asked, Place, What
from studio.review.history.entries import page_of
from studio.review.history.readers import Reader
from studio.review.models import Comment, ReturnedMoment

MOST_WORDS = 6
WORDS = {  # said many times on a page, so for a compiled template
    "set": _("Set"),
    "done": _("Ticked off"),
    "all_of_it": _("All of this drill"),
    "lesson": _("Lesson"),
    "private": _("for the teachers alone"),
    "agreed": _("Agreed"),
    "keys_done": _("Keys ticked off"),
    "worked": _("Worked on"),
    "asked": _("Asked"),
    "practice": _("Practised"),
    "hand": _("hand"),
    "not_answered": _("Not answered yet"),
}
FIRST_DAY, LAST_DAY = date(1990, 1, 1), date(2999, 12, 31)


class HistoryForm(forms.Form):
    """What is looked for. Anything that is not known is left out."""

    q = forms.CharField(
        required=False,
        max_length=100,
        label=_("Words"),
        widget=forms.TextInput(attrs={"type": "search"}),
    )
    what = forms.ChoiceField(
        required=False, label=_("Show"), choices=[("", _("everything")), *What.choices]
    )
    interval = forms.ChoiceField(
        required=False,
        label=_("Interval"),
        choices=[("", _("every interval")), *((word, word) for word in FAMILIES)],
    )
    key = forms.ChoiceField(
        required=False, label=_("Key"), choices=[("", _("every key")), *KEYS[1:]]
    )
    kind = forms.ChoiceField(
        required=False,
        label=_("Kind of comment"),
        choices=[
            ("", _("every kind")),
            *Comment.Kind.choices,
            (ReturnedMoment.MARK, _("marks")),
        ],
    )
    since = forms.DateField(
        required=False, label=_("From"), widget=forms.DateInput(attrs={"type": "date"})
    )
    until = forms.DateField(
        required=False, label=_("To"), widget=forms.DateInput(attrs={"type": "date"})
    )
    drill = forms.IntegerField(
        required=False, min_value=1, max_value=2**31, widget=forms.HiddenInput
    )

    def asked(self, before: str) -> Asked:
        """What of it is known; ``before`` is the place from which the page goes on."""
        self.is_valid()
        said = self.cleaned_data
        return Asked(
            words=tuple(said.get("q", "").split()[:MOST_WORDS]),
            what=said.get("what", ""),
            interval=said.get("interval", ""),
            key=said.get("key", ""),
            kind=said.get("kind", ""),
            drill=said.get("drill") or 0,
            since=_bounded(said.get("since")),
            until=_bounded(said.get("until")),
            before=Place.parse(before),
        )


@require_safe
def pupil(request: HttpRequest, pk: int) -> HttpResponse:
    return _page(request, people.taught_enrolment(request.user, pk), "teacher")


@require_safe
def own(request: HttpRequest) -> HttpResponse:
    return _page(request, people.own_enrolment(request.user), "pupil")


@require_safe
def child(request: HttpRequest, pk: int) -> HttpResponse:
    return _page(request, people.guarded_enrolment(request.user, pk), "guardian")


def _page(request: HttpRequest, enrolment: Enrolment, area: str) -> HttpResponse:
    form = HistoryForm(request.GET)
    asked = form.asked(request.GET.get("before", ""))
    simply = area != "teacher" and reads_simply(enrolment, is_own=area == "pupil")
    reader = Reader(enrolment, area, timezone.now(), simply)
    page = page_of(reader, asked)
    context = {
        "area": area,
        "enrolment": enrolment,
        "form": form,
        "page": page,
        "asked": asked,
        "drill": _title(page, asked),
        "is_narrow": replace(asked, before=None) != Asked(),
        "kinds": {**dict(Comment.Kind.choices), ReturnedMoment.MARK: _("mark")},
        "words": WORDS,
    }
    return render(request, "review/history.html", context)


def _title(page, asked: Asked) -> str:
    """The title of the drill that is asked for, as an entry of the page has it."""
    if not asked.drill:
        return ""
    for _month, entries in page.months:
        for entry in entries:
            version = getattr(entry.row, "version", None)
            if version is not None:
                return version.title
    drill = Drill.objects.filter(pk=asked.drill).first() if page.count else None
    return str(drill) if drill else ""


def _bounded(day: date | None) -> date | None:
    return min(max(day, FIRST_DAY), LAST_DAY) if day else None
