"""Asking for a drill: the form of a :class:`~studio.notation.Request`.

What every drill needs to be told stands open; how it is played, for which hand and what is said of
it are folded, with what is usual chosen. A field that a pattern does not ask for is not shown.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from django import forms
from django.utils.translation import gettext as _

from studio.accounts.forms import LONGEST_STRING_MM, SHORTEST_STRING_MM
from studio.accounts.models import Enrolment, Instrument, Level, Person, Studio
from studio.notation import INTERVALS, Request
from studio.notation.fingering import FINGERING_WORDS
from studio.notation.pairs import read_pairs, word_for
from studio.theory.keys import ALL_KEYS
from studio.translating import gettext_lazy

from . import access
from .form_values import LATER, asked_by, query_of
from .making_choices import (
    CHORDS,
    DIRECTIONS,
    FIRST_BOWS,
    MANNER_WORDS,
    MINORS,
    MIXED,
    ONE_STRING,
    PARTS,
    PATTERNS,
    RESOLUTIONS,
    RHYTHMS,
    SLURS,
    STARTS,
    STRINGS,
    STROKES,
    TONIC,
    hands,
    highest,
    patterns_for,
)
from .saying import OF_WORD
from .stretches import Player, player_of

LENGTH_HINT = gettext_lazy("From the nut to the bridge; empty: the instrument’s usual one.")


class SayForm(forms.Form):
    """What is said of a drill beside its page."""

    title = forms.CharField(
        max_length=120,
        required=False,
        label=gettext_lazy("Title"),
        help_text=gettext_lazy("Empty: the title over the page."),
    )
    words = forms.CharField(
        max_length=4000,
        required=False,
        label=gettext_lazy("What to practise, and how"),
        widget=forms.Textarea(attrs={"rows": 4}),
        help_text=gettext_lazy("Empty: the words under the page."),
    )
    level = forms.ChoiceField(
        required=False,
        label=gettext_lazy("Level"),
        choices=[("", gettext_lazy("as the drill is hard")), *Level.choices],
    )
    tags = forms.CharField(
        max_length=200,
        required=False,
        label=gettext_lazy("Tags"),
        help_text=gettext_lazy("Further words to find it by."),
    )


class MakeForm(SayForm):
    """Every part of a request, with what is usual filled in."""

    pattern = forms.ChoiceField(choices=PATTERNS, label=gettext_lazy("Pattern"))
    pairs = forms.CharField(
        required=False,
        max_length=400,
        label=gettext_lazy("Double stops"),
        help_text=gettext_lazy("In the order played, all in one interval: B♭3–B♭4, C4–C5."),
    )
    interval = forms.ChoiceField(label=gettext_lazy("Interval"))
    mixed = forms.ChoiceField(choices=MIXED, required=False, label=gettext_lazy("On each step"))
    resolution = forms.ChoiceField(choices=RESOLUTIONS, required=False, label=gettext_lazy("Which"))
    chord = forms.ChoiceField(choices=CHORDS, required=False, label=gettext_lazy("Chord"))
    parts = forms.TypedChoiceField(
        choices=PARTS, coerce=int, required=False, label=gettext_lazy("Chords of")
    )
    string = forms.TypedChoiceField(
        choices=ONE_STRING, coerce=int, required=False, label=gettext_lazy("String")
    )
    key = forms.ChoiceField(
        choices=lambda: [(key.written, key.name) for key in ALL_KEYS], label=gettext_lazy("Key")
    )
    minor = forms.ChoiceField(
        choices=MINORS,
        label=gettext_lazy("Minor scale"),
    )
    start = forms.TypedChoiceField(
        choices=STARTS, coerce=int, required=False, label=gettext_lazy("Begins on")
    )
    octaves = forms.TypedChoiceField(
        choices=[
            (1, gettext_lazy("one octave")),
            (2, gettext_lazy("two octaves")),
            (3, gettext_lazy("three octaves")),
        ],
        coerce=int,
        label=gettext_lazy("Range"),
        help_text=gettext_lazy("Of the lower note."),
    )
    strings = forms.ChoiceField(choices=STRINGS, required=False, label=gettext_lazy("Strings"))
    direction = forms.ChoiceField(choices=DIRECTIONS, label=gettext_lazy("Direction"))
    manner = forms.ChoiceField(
        choices=list(MANNER_WORDS.items()), label=gettext_lazy("Each double stop")
    )
    rhythm = forms.ChoiceField(choices=RHYTHMS, required=False, label=gettext_lazy("Rhythm"))
    slur = forms.TypedChoiceField(
        choices=SLURS, coerce=int, required=False, label=gettext_lazy("Slurs")
    )
    first_bow = forms.ChoiceField(
        choices=FIRST_BOWS, required=False, label=gettext_lazy("Begin with")
    )
    stroke = forms.ChoiceField(choices=STROKES, required=False, label=gettext_lazy("Bow"))
    playings = forms.IntegerField(min_value=1, max_value=12, label=gettext_lazy("Times together"))
    hold_s = forms.FloatField(
        min_value=0.2, max_value=60, required=False, label=gettext_lazy("Hold, in seconds")
    )
    finger = forms.TypedChoiceField(
        choices=[(1, "first"), (2, "second"), (3, "third")],
        coerce=int,
        label=gettext_lazy("Finger"),
    )
    fingers_down = forms.BooleanField(required=False, label=gettext_lazy("Fingers stay down"))
    highest_position = forms.TypedChoiceField(
        choices=highest, coerce=int, required=False, label=gettext_lazy("Highest position")
    )
    fingering = forms.ChoiceField(
        choices=list(FINGERING_WORDS.items()), required=False, label=gettext_lazy("Fingering")
    )
    open_strings = forms.BooleanField(
        required=False, label=gettext_lazy("Open strings may be used")
    )
    pupil = forms.ModelChoiceField(
        queryset=Enrolment.objects.none(),
        required=False,
        label=gettext_lazy("For"),
        empty_label=gettext_lazy("nobody in particular"),
        help_text=gettext_lazy("Takes the pupil’s instrument and string length."),
    )
    instrument = forms.ChoiceField(
        choices=Instrument.Kind, required=False, label=gettext_lazy("Instrument")
    )
    string_length_mm = forms.FloatField(
        required=False,
        min_value=SHORTEST_STRING_MM,
        max_value=LONGEST_STRING_MM,
        label=gettext_lazy("String length in mm"),
        help_text=LENGTH_HINT,
    )
    hand = forms.ChoiceField(
        required=False,
        label=gettext_lazy("Hand"),
        choices=hands,
        help_text=gettext_lazy("What is comfortable; a wider stretch is said."),
    )

    def __init__(self, person: Person, studio: Studio, data: Any) -> None:
        settings = access.settings_of(studio)
        usual = Request(instrument=settings.instrument)
        start = asked_by(usual) | {
            "interval": settings.order[0],
            "string_length_mm": settings.string_length_mm or "",
        }
        # Once asked, a box that is not ticked is an answer; before, it is what is usual.
        given = {name: data[name] for name in data} if data else {}
        super().__init__(given if "pattern" in given else start | given)
        self.fields["interval"].choices = [(word, OF_WORD[word].label) for word in settings.order]
        self._offer_mixed()
        self.fields["pupil"].queryset = access.pupils_of(person, studio)
        self.fields["pupil"].label_from_instance = lambda enrolment: enrolment.pupil.name

    def _offer_mixed(self) -> None:
        """The usual sets of intervals, and the one that is asked for, whichever it is."""
        asked = str(self.data.get("mixed", ""))
        words = asked.split("-")
        if asked not in dict(MIXED) and set(words) <= set(INTERVALS) and 2 <= len(words) <= 4:
            *others, last = [str(OF_WORD[word].label) for word in words]
            own = (
                asked,
                _("%(others)s and %(last)s") % {"others": ", ".join(others), "last": last},
            )
            self.fields["mixed"].choices = [*MIXED, own]

    def parts_of_form(self) -> Iterator["Part"]:
        """What stands open, then what is folded; a fold is open where something in it is wrong."""
        for legend, names in FOLDS.items():
            fields = [self[name] for name in names]
            is_open = any(field.errors for field in fields)
            is_open = is_open or (legend != HAND and self._is_chosen(names))
            yield Part(legend, [(field, patterns_for(field.name)) for field in fields], is_open)

    def _is_chosen(self, names: tuple[str, ...]) -> bool:
        """Whether something is asked for here beside what is usual."""
        return any(str(self.data.get(name, "")) not in ("", USUAL.get(name)) for name in names)

    def clean(self) -> dict[str, Any]:
        """Named double stops say their interval themselves."""
        said = super().clean()
        if said.get("pattern") == "pairs":
            try:
                said["pairs"] = read_pairs(said.get("pairs", ""))
                said["interval"] = word_for(said["pairs"])
            except ValueError as error:
                self.add_error("pairs", str(error))
        return said

    def player(self) -> Player:
        """Whose hand the drill is for: the pupil's where one is chosen."""
        said, pupil = self.cleaned_data, self.cleaned_data["pupil"]
        if pupil is not None:
            return player_of(pupil, self.plays())
        usual = player_of(None, self.plays())
        return Player(said["string_length_mm"] or usual.string_length_mm, said["hand"] or "medium")

    def plays(self) -> str:
        """The pupil's, or the one that was chosen."""
        pupil = self.cleaned_data["pupil"]
        own = pupil.instrument() if pupil is not None else None
        return own.kind if own else self.cleaned_data["instrument"] or "violin"

    def request(self) -> Request:
        """What is asked for."""
        said, player = self.cleaned_data, self.player()
        strings = tuple(int(number) for number in said["strings"].split("-") if number)
        names = ("pattern", "interval", "key", "minor", "octaves", "direction", "manner")
        more = {name: said[name] for name in LATER if said[name] not in ("", None)}
        more.setdefault("start", TONIC)
        if said["mixed"]:
            more["mixed"] = tuple(said["mixed"].split("-"))
        return Request(
            **{name: said[name] for name in (*names, "playings", "hold_s", "finger")},
            **more,
            open_strings=said["open_strings"],
            fingers_down=said["fingers_down"],
            strings=strings or None,
            pairs=said["pairs"] if said["pattern"] == "pairs" else (),
            instrument=self.plays(),
            string_length_mm=player.string_length_mm,
            hand=player.hand,
        )

    def query_of(self, request: Request) -> str:
        """The query string that fills this form with another request, the rest as it stands."""
        kept = {name: self.data.get(name, "") for name in ("title", "words", "level", "tags")}
        return query_of(request, pupil=self.cleaned_data["pupil"], **kept)


@dataclass(frozen=True, slots=True)
class Part:
    """A part of the form: its fields, each with the patterns that ask for it (empty for all).

    ``legend`` is empty for what always stands open.
    """

    legend: str
    fields: list[tuple[forms.BoundField, str]]
    is_open: bool


HAND = gettext_lazy("Instrument and hand")
FOLDS = {
    "": (
        *("pattern", "pairs", "mixed", "resolution", "chord", "interval", "finger", "parts"),
        *("string", "key", "minor", "start", "octaves", "direction", "strings", "manner"),
        "pupil",
    ),
    gettext_lazy("Rhythm, bowing, repeats"): (
        *("rhythm", "slur", "first_bow", "stroke", "playings", "hold_s", "fingers_down"),
    ),
    HAND: ("instrument", "hand", "string_length_mm", "highest_position", "open_strings"),
    gettext_lazy("Title and words"): ("title", "words", "level", "tags"),
}
USUAL = {"rhythm": "free", "slur": "1", "playings": "1"}  # leaves its fold shut
