"""A file of music becomes a drill: looked at first, then kept."""

from django import forms
from django.core.files.uploadedfile import UploadedFile
from django.utils.translation import gettext as _

from studio.accounts.models import Instrument
from studio.notation import Score
from studio.notation.musicxml import only_bars
from studio.notation.musicxml.opening import MAX_FILE_BYTES, may_be_music, too_large
from studio.notation.score import NotAScore
from studio.translating import gettext_lazy

from .forms import ShelfDrillForm

ONLY_BARS = gettext_lazy("Empty: all of it. The numbers are those on the page.")

ENDINGS = (".musicxml", ".xml", ".mxl", ".mei", ".mid", ".midi")


class FileForm(forms.Form):
    """The file. What it holds decides; its name is only asked for a hint."""

    file = forms.FileField(
        label=gettext_lazy("File"),
        widget=forms.FileInput(attrs={"accept": ",".join(ENDINGS)}),
        help_text=gettext_lazy(
            "MusicXML (.musicxml, .xml or .mxl): notation programs export it. MEI and MIDI (.mei, "
            ".mid) are read too, with less of the page."
        ),
        error_messages={
            "required": gettext_lazy("Choose a file."),
            "empty": gettext_lazy("The file is empty. Export the page again."),
        },
    )
    instrument = forms.ChoiceField(
        choices=[("", gettext_lazy("as the file says")), *Instrument.Kind.choices],
        required=False,
        label=gettext_lazy("Instrument"),
    )

    def clean_file(self) -> UploadedFile:
        file = self.cleaned_data["file"]
        if file.size > MAX_FILE_BYTES:
            raise forms.ValidationError(too_large(file.size))
        if not may_be_music(file.read(64)):
            raise forms.ValidationError(
                _("The file is damaged or is no MusicXML, MEI or MIDI. Export it again.")
            )
        file.seek(0)
        return file

    @property
    def filename(self) -> str:
        return (self.cleaned_data["file"].name or "").rpartition("/")[2]


class KeepForm(ShelfDrillForm):
    """Put what was looked at on the shelf."""

    may_use = forms.BooleanField(
        label=gettext_lazy(
            "I may use this music with my pupils: it is my own, it is free of rights, or I have "
            "leave."
        ),
        error_messages={
            "required": gettext_lazy("Say that you may use this music, or leave it out.")
        },
    )

    first_bar = forms.IntegerField(
        required=False,
        min_value=0,
        max_value=99_999,
        label=gettext_lazy("From bar"),
        help_text=ONLY_BARS,
    )
    last_bar = forms.IntegerField(
        required=False, min_value=0, max_value=99_999, label=gettext_lazy("To bar")
    )

    field_order = [*ShelfDrillForm.base_fields, "first_bar", "last_bar", "may_use"]

    @classmethod
    def of(cls, title: str, key: str) -> "KeepForm":
        """The form for music that was just read."""
        words = _("Play what is written, slowly, each double stop until it is in tune.")
        return cls(initial={"title": title, "words": words, "key": key})

    def of_score(self, plain: dict) -> dict | None:
        """The score as it is stored, or as much of it as was asked for; ``None``: an error is said.

        Where all of it is kept, it is not gone through: a long one takes most of a second.
        """
        first, last = self.cleaned_data["first_bar"], self.cleaned_data["last_bar"]
        if first is None and last is None:
            return plain
        try:
            return only_bars(Score.from_dict(plain), first, last).to_dict()
        except NotAScore as error:
            self.add_error("last_bar", f"{error}.")
            return None

    def says(self) -> dict:
        """What ``services.add_drill`` takes, but for the score."""
        return {name: self.cleaned_data[name] for name in ShelfDrillForm.base_fields}
