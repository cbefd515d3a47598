"""Asking for a drill: the form of a :class:`~studio.notation.Request`, and what it is called."""

from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

from django import forms

from studio import figures
from studio.accounts.forms import LONGEST_STRING_MM, SHORTEST_STRING_MM
from studio.accounts.models import Enrolment, Instrument, Level, Person, Studio
from studio.notation import INTERVALS, Request, Score
from studio.notation.manners import MANNERS
from studio.notation.pairs import in_words, read_pairs, word_for
from studio.theory.fingers import COMFORTABLE_SPAN_MM
from studio.theory.keys import ALL_KEYS, Key

from . import access
from .models import Interval
from .stretches import Player, player_of

PATTERNS = [
    ("scale", "a scale"),
    ("pairs", "double stops by name"),
    ("one_finger", "one finger across two strings"),
    ("third_finger_check", "third finger against the open string"),
    ("chords", "chords of three notes, in pairs"),
]
MANNER_WORDS = {
    "together": "both together",
    "separately_then_together": "lower, upper, then both",
    "upper_first": "upper, lower, then both",
    "lower_then_both": "lower, then both",
    "upper_then_both": "upper, then both",
    "both_then_upper": "both, then upper",
    "both_then_lower": "both, then lower",
    "hold_lower": "hold the lower, add the upper",
    "hold_upper": "hold the upper, add the lower",
}
DIRECTIONS = [("up_and_down", "up and down"), ("up", "up"), ("down", "down")]
STRINGS = [
    ("", "across the strings"),
    ("4-3", "the two lowest strings"),
    ("3-2", "the two middle strings"),
    ("2-1", "the two highest strings"),
]
OF_WORD = {
    "unisons": Interval.UNISON,
    "thirds": Interval.THIRDS,
    "fourths": Interval.FOURTH,
    "fifths": Interval.FIFTH,
    "sixths": Interval.SIXTHS,
    "octaves": Interval.OCTAVE,
    "tenths": Interval.TENTHS,
}
OF_PATTERN = {"one_finger": Interval.FIFTH, "third_finger_check": Interval.OCTAVE}
BEGINNERS = {"one_finger", "third_finger_check"}
LENGTH_HINT = "From the nut to the bridge; empty: the instrument’s usual one."
NUMBERS = {"octaves": 1, "playings": 1, "finger": 1}


class SayForm(forms.Form):
    """What is said of a drill beside its page."""

    title = forms.CharField(
        max_length=120,
        required=False,
        label="Title",
        help_text="Empty: the title over the page.",
    )
    words = forms.CharField(
        max_length=4000,
        required=False,
        label="What to practise, and how",
        widget=forms.Textarea(attrs={"rows": 4}),
        help_text="Empty: the words under the page.",
    )
    level = forms.ChoiceField(
        required=False, label="Level", choices=[("", "as the drill is hard"), *Level.choices]
    )
    tags = forms.CharField(
        max_length=200, required=False, label="Tags", help_text="Further words to find it by."
    )


class MakeForm(SayForm):
    """Every part of a request, with what is usual filled in."""

    field_order = [
        *(
            "pattern",
            "pairs",
            "interval",
            "key",
            "minor",
            "finger",
            "octaves",
            "direction",
            "strings",
        ),
        *(
            "manner",
            "fingers_down",
            "playings",
            "hold_s",
            "open_strings",
            "pupil",
            "instrument",
            "hand",
        ),
        *("string_length_mm", "title", "words", "level", "tags"),
    ]
    pattern = forms.ChoiceField(choices=PATTERNS, label="Pattern")
    pairs = forms.CharField(
        required=False,
        max_length=400,
        label="Double stops",
        help_text="In the order played, all in one interval: B♭3–B♭4, C4–C5.",
    )
    interval = forms.ChoiceField(label="Interval")
    key = forms.ChoiceField(choices=[(key.name, key.name) for key in ALL_KEYS], label="Key")
    minor = forms.ChoiceField(
        choices=[(form, form) for form in ("melodic", "harmonic", "natural")], label="Minor scale"
    )
    octaves = forms.TypedChoiceField(
        choices=[(1, "one octave"), (2, "two octaves"), (3, "three octaves")],
        coerce=int,
        label="Range",
        help_text="Of the lower note.",
    )
    strings = forms.ChoiceField(choices=STRINGS, required=False, label="Strings")
    direction = forms.ChoiceField(choices=DIRECTIONS, label="Direction")
    manner = forms.ChoiceField(choices=list(MANNER_WORDS.items()), label="Each double stop")
    playings = forms.IntegerField(min_value=1, max_value=12, label="Times together")
    hold_s = forms.FloatField(min_value=0.2, max_value=60, required=False, label="Hold, in seconds")
    finger = forms.TypedChoiceField(
        choices=[(1, "first"), (2, "second"), (3, "third")], coerce=int, label="Finger"
    )
    fingers_down = forms.BooleanField(required=False, label="Fingers stay down")
    open_strings = forms.BooleanField(required=False, label="Open strings may be used")
    pupil = forms.ModelChoiceField(
        queryset=Enrolment.objects.none(),
        required=False,
        label="For",
        empty_label="nobody in particular",
        help_text="Takes the pupil’s instrument and string length.",
    )
    instrument = forms.ChoiceField(choices=Instrument.Kind, required=False, label="Instrument")
    string_length_mm = forms.FloatField(
        required=False,
        min_value=SHORTEST_STRING_MM,
        max_value=LONGEST_STRING_MM,
        label="String length in mm",
        help_text=LENGTH_HINT,
    )
    hand = forms.ChoiceField(
        required=False,
        label="Hand",
        choices=[
            (size, f"{size}: up to {figures.millimetres(mm)}")
            for size, mm in COMFORTABLE_SPAN_MM.items()
        ],
        help_text="What is comfortable; a wider stretch is said.",
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
        self.fields["interval"].choices = [(word, word) for word in settings.order]
        self.fields["pupil"].queryset = access.pupils_of(person, studio)
        self.fields["pupil"].label_from_instance = lambda enrolment: enrolment.pupil.name

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
        return Request(
            **{name: said[name] for name in (*names, "playings", "hold_s", "finger")},
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


def asked_by(request: Request) -> dict[str, Any]:
    """A request as the values of the form's fields."""
    plain = request.to_dict()
    plain["key"] = request.spelled_key.name
    plain["strings"] = "-".join(str(number) for number in request.strings or ())
    plain["string_length_mm"] = figures.number(request.length_mm)
    plain["hold_s"] = "" if request.hold_s is None else figures.number(request.hold_s, 2)
    for name in ("open_strings", "fingers_down"):
        plain[name] = "on" if getattr(request, name) else ""
    plain["pairs"] = in_words(request.double_stops)
    return plain


def query_of(request: Request, pupil: Enrolment | None = None, **more: str) -> str:
    """The query string that fills the form with a request."""
    plain = asked_by(request) | more | {"pupil": pupil.pk if pupil else ""}
    return urlencode({name: value for name, value in plain.items() if value != ""})


@dataclass(frozen=True, slots=True)
class Saying:
    """What a made drill says when the teacher writes nothing else."""

    title: str
    words: str
    interval: str
    key: str
    level: str


def saying_of(request: Request, score: Score) -> Saying:
    """Title and words of a drill made to order."""
    key = "" if request.pattern == "third_finger_check" else request.spelled_key.name
    interval = (
        OF_WORD[request.interval]
        if request.pattern in ("scale", "pairs")
        else OF_PATTERN.get(request.pattern, Interval.MIXED)
    )
    level = Level.FIRST_STEPS if request.pattern in BEGINNERS else ""
    return Saying(score.title[:120], words_of(request), interval, key, level)


def words_of(request: Request) -> str:
    """How the drill is to be played, in the usual way of working (common practice, no source)."""
    first = MANNERS[request.manner].words
    if request.playings > 1:
        first += f", {request.playings} times"
    if request.hold_s is not None:
        first += f", each held for {figures.number(request.hold_s, 2)} seconds or longer"
    if request.fingers_down:
        first += ". Leave each finger on its string until it has to move"
    return (
        f"{first}. Repeat each one until it is in tune, then move on. No rhythm and no hurry: "
        "leave time to hear it. Rest when the hand is tired."
    )


def family(interval: str) -> str:
    """The word for a drill's interval, where it has one among the scales."""
    return next((word for word in INTERVALS if OF_WORD[word] == interval), "")


def key_name(score: Score) -> str:
    """The key as drills name it; empty where the page has none."""
    return Key.parse(score.key).name if score.key else ""
