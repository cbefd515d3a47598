"""The form of a calendar's file."""

from django import forms

from studio.translating import gettext_lazy

from . import sentences
from .events import MOST_BYTES


class CalendarForm(forms.Form):
    """The file. What it holds decides; its name is only asked for a hint."""

    file = forms.FileField(
        label=gettext_lazy("Calendar’s file"),
        widget=forms.FileInput(attrs={"accept": ".ics,text/calendar"}),
        help_text=gettext_lazy(
            "A file that ends in .ics. Calendars write one where they say “export”."
        ),
        error_messages={
            "required": gettext_lazy("Choose a file."),
            "empty": gettext_lazy("The file is empty. Export the calendar again."),
        },
    )

    def clean_file(self):
        file = self.cleaned_data["file"]
        if file.size > MOST_BYTES:
            raise forms.ValidationError(sentences.refusal("too_large"))
        return file
