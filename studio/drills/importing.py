"""A file of music becomes a drill: looked at first, then kept."""

import json

from django import forms
from django.core.files.uploadedfile import UploadedFile

from studio.accounts.models import Instrument
from studio.notation import Score
from studio.notation.musicxml import NotMusic, Read, read_musicxml
from studio.notation.musicxml.opening import MAX_FILE_BYTES

from .forms import ShelfDrillForm
from .making import key_name

ENDINGS = (".musicxml", ".xml", ".mxl")
MAX_SCORE_CHARACTERS = 2_000_000


class FileForm(forms.Form):
    """The file. What it holds decides; its name is only asked for a hint."""

    file = forms.FileField(
        label="File",
        widget=forms.FileInput(attrs={"accept": ",".join(ENDINGS)}),
        help_text="MusicXML: .musicxml, .xml or .mxl. Notation programs export it.",
        error_messages={
            "required": "Choose a file.",
            "empty": "The file is empty. Export the page again.",
        },
    )
    instrument = forms.ChoiceField(
        choices=[("", "as the file says"), *Instrument.Kind.choices],
        required=False,
        label="Instrument",
    )

    def clean(self):
        said = super().clean()
        file = said.get("file")
        if file is not None:
            try:
                self.read = read_file(file, said.get("instrument") or None)
            except NotMusic as error:
                self.add_error("file", str(error))
        return said


def read_file(file: UploadedFile, instrument: str | None) -> Read:
    """The music of an uploaded file.

    Raises
    ------
    NotMusic
        With a sentence for the teacher.
    """
    name = (file.name or "").rpartition("/")[2]
    data = file.read(MAX_FILE_BYTES + 1)
    return read_musicxml(data, instrument=instrument, title=name.rpartition(".")[0] or name)


class KeepForm(ShelfDrillForm):
    """Put what was looked at on the shelf. The page comes back with the form and is read anew."""

    score = forms.CharField(widget=forms.HiddenInput, max_length=MAX_SCORE_CHARACTERS)
    may_use = forms.BooleanField(
        label="I may use this music with my pupils: it is my own, it is free of rights, or I have "
        "leave.",
        error_messages={"required": "Say that you may use this music, or leave it out."},
    )

    def clean_score(self) -> Score:
        try:
            return Score.from_dict(json.loads(self.cleaned_data["score"]))
        except (ValueError, KeyError, TypeError, AttributeError):
            raise forms.ValidationError(
                "The page was damaged on its way. Choose the file again."
            ) from None

    @classmethod
    def of(cls, score: Score) -> "KeepForm":
        """The form for music that was just read."""
        return cls(
            initial={
                "title": score.title,
                "words": "Play what is written, slowly, each double stop until it is in tune.",
                "key": key_name(score),
                "score": json.dumps(score.to_dict(), separators=(",", ":")),
            }
        )

    def says(self) -> dict:
        """What ``services.add_drill`` takes."""
        said = {name: self.cleaned_data[name] for name in ShelfDrillForm.base_fields}
        return said | {"score": self.cleaned_data["score"].to_dict()}
