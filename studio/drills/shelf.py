"""The shelf as a list: searched, filtered and put in order by the database, page by page."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field

from django import forms
from django.core.paginator import Page, Paginator
from django.db.models import (
    Case,
    Count,
    Exists,
    F,
    IntegerField,
    OuterRef,
    Q,
    QuerySet,
    Subquery,
    Value,
    When,
)
from django.db.models.functions import Coalesce
from django.utils.translation import gettext as _

from studio.accounts.access import PERSON
from studio.accounts.models import Instrument, Level, Person, Studio
from studio.accounts.prepared import Given, Prepared
from studio.translating import gettext_lazy

from . import access
from .access import STUDIO
from .models import Assignment, DrillVersion, Favourite, Interval

PAGE_DRILLS = 24
# Patterns that are no way to practise a family of intervals in a key as a whole.
NO_SCALES = (
    *("pairs", "ringing_octaves", "shifting", "mixed", "resolutions", "arpeggio", "chromatic"),
    *("fingered_octaves", "one_string", "chords", "inversions", "drone_above", "drone_below"),
    *("fourth_finger_check", "first_octaves"),
)
# The words of the interval order, and the intervals of drills that each stands for.
FAMILIES: dict[str, tuple[Interval, ...]] = {
    "octaves": (Interval.OCTAVE,),
    "sixths": (Interval.SIXTHS, Interval.MINOR_SIXTH, Interval.MAJOR_SIXTH),
    "thirds": (Interval.THIRDS, Interval.MINOR_THIRD, Interval.MAJOR_THIRD),
    "tenths": (Interval.TENTHS,),
    "fourths": (Interval.FOURTH,),
    "fifths": (Interval.FIFTH,),
    "unisons": (Interval.UNISON,),
}
MIXED = "mixed"
SORTS = [
    ("order", gettext_lazy("in the order taught")),
    ("newest", gettext_lazy("newest first")),
    ("title", gettext_lazy("by title")),
]
Kinds = list[tuple[str, str, int]]  # interval, key, and how many drills
_LEVELS = {level: place for place, level in enumerate(Level.values)}


class ShelfForm(forms.Form):
    """What of the shelf is shown, and in which order. Anything that is not known is left out."""

    q = forms.CharField(
        required=False,
        max_length=100,
        label=gettext_lazy("Find"),
        widget=forms.TextInput(
            attrs={"type": "search", "placeholder": gettext_lazy("words, key, tag")}
        ),
    )
    interval = forms.ChoiceField(required=False, label=gettext_lazy("Interval"))
    key = forms.ChoiceField(required=False, label=gettext_lazy("Key"))
    level = forms.ChoiceField(
        required=False,
        label=gettext_lazy("Level"),
        choices=[("", gettext_lazy("every level")), *Level.choices],
    )
    instrument = forms.ChoiceField(
        required=False,
        label=gettext_lazy("Instrument"),
        choices=[("", "either"), *Instrument.Kind.choices],
    )
    sort = forms.ChoiceField(required=False, label=gettext_lazy("Sorted"), choices=SORTS)
    favourite = forms.BooleanField(required=False, label=gettext_lazy("Favourites only"))

    def __init__(self, data, *, counts: Counter, keys: list[str]) -> None:
        super().__init__(data)
        offered = [(word, f"{word} ({counts[word]})") for word in FAMILIES if counts[word]]
        if counts[MIXED]:
            offered.append(
                (MIXED, _("mixed or single notes (%(counts)s)") % {"counts": counts[MIXED]})
            )
        self.fields["interval"].choices = [("", _("every interval")), *offered]
        self.fields["key"].choices = [("", _("every key")), *((key, key) for key in keys)]

    @property
    def chosen(self) -> dict:
        """What was asked and is known."""
        self.is_valid()
        return {name: value for name, value in self.cleaned_data.items() if value}


@dataclass(frozen=True, slots=True)
class Shelf:
    """One page of the shelf, and the form that asked for it."""

    form: ShelfForm
    page: Page
    total: int
    favourites: int
    narrowed: bool = field(default=False)


def shelf(person: Person, studio: Studio, asked) -> Shelf:
    """The page of the shelf that ``asked`` (a query string's values) describes."""
    mine = {"person": person.pk, "studio": studio.pk}
    kinds = _kinds(**mine)
    form = ShelfForm(asked, counts=_counts(kinds), keys=_keys(kinds))
    chosen, order = form.chosen, tuple(access.settings_of(studio).order)
    total, narrowed = sum(many for *_which, many in kinds), bool(chosen.keys() - {"sort"})
    if "q" in chosen:  # words of any number, which SQL has to hold in each place
        found = _found(versions_on_shelf(person, studio), chosen, order)
    else:
        found = _Found(chosen, order, mine, None if narrowed else total)
    page = Paginator(found, PAGE_DRILLS).get_page(asked.get("page"))
    return Shelf(form, page, total, _favourites.first(**mine) or 0, narrowed)


class _Found:
    """What was chosen, as :class:`Paginator` reads it: how many there are, and a page of them."""

    def __init__(self, chosen: dict, order: tuple, mine: dict, known: int | None) -> None:
        self.shape, self.mine, self.known = (tuple(sorted(chosen.items())), order), mine, known

    def __len__(self) -> int:
        if self.known is None:
            self.known = _many.first(*self.shape, **self.mine) or 0
        return self.known

    def __getitem__(self, page: slice) -> list[DrillVersion]:
        return _page(*self.shape, page.start, **self.mine)


def versions_on_shelf(person: Person | Given, studio: Studio | Given) -> QuerySet[DrillVersion]:
    """The newest version of each drill on a studio's shelf, without its score."""
    times = (
        Assignment.objects.filter(version__drill=OuterRef("drill"))
        .order_by()
        .values("version__drill")
        .annotate(n=Count("pk"))
        .values("n")
    )
    kept = Favourite.objects.filter(person=person, drill=OuterRef("drill"))
    return (
        _newest(studio)
        .select_related("drill")
        .defer("score", "request")
        .annotate(
            times_set=Coalesce(Subquery(times, output_field=IntegerField()), 0),
            favourite=Exists(kept),
        )
    )


def _newest(studio: Studio | Given) -> QuerySet[DrillVersion]:
    later = DrillVersion.objects.filter(drill=OuterRef("drill"), number__gt=OuterRef("number"))
    return DrillVersion.objects.filter(
        ~Exists(later), drill__studio=studio, drill__archived_at__isnull=True
    )


def _found(versions: QuerySet[DrillVersion], chosen: dict, order: tuple) -> QuerySet[DrillVersion]:
    return _sorted(_narrowed(versions, chosen), chosen.get("sort", "order"), order)


@Prepared
def _page(chosen: tuple, order: tuple, start: int) -> QuerySet[DrillVersion]:
    found = _found(versions_on_shelf(PERSON, STUDIO), dict(chosen), order)
    return found[start : start + PAGE_DRILLS]


@Prepared
def _many(chosen: tuple, order: tuple) -> QuerySet:
    return _count(_found(versions_on_shelf(PERSON, STUDIO), dict(chosen), order))


@Prepared
def _favourites() -> QuerySet:
    return _count(
        Favourite.objects.filter(person=PERSON, drill__in=_newest(STUDIO).values("drill"))
    )


@Prepared
def _kinds() -> QuerySet:
    """Interval, key, and how many drills there are of them, in the order of the keys."""
    kinds = _newest(STUDIO).order_by("key", "interval").values("interval", "key")
    return kinds.annotate(many=Count("pk")).values_list("interval", "key", "many")


def _count(rows: QuerySet) -> QuerySet:
    """How many there are, as a query of one row; of none where there are none."""
    counted = rows.order_by().values(all=Value(1)).annotate(many=Count("pk"))
    return counted.values_list("many", flat=True)


def drills_by_family(person: Person, studio: Studio, key: str, instrument: str) -> dict:
    """For each family of intervals, the shelf's drill of it in a key: favourites first.

    One with a page goes before one in words, one that was set more often before the others. Drills
    of named double stops, which are for one spot, and those of other patterns are left out.
    """
    found: dict[str, DrillVersion] = {}
    versions = (
        versions_on_shelf(person, studio)
        .filter(key=key, instrument__in=("", instrument))
        .filter(~Q(request__pattern__in=NO_SCALES) | Q(request=None))
        .defer("score", "request", "incipit", "words")
        .order_by("-favourite", "-instrument", "-times_set", "pk")
    )
    for version in versions:
        word = next((name for name, kinds in FAMILIES.items() if version.interval in kinds), "")
        found.setdefault(word, version)
    return found


def _narrowed(versions: QuerySet[DrillVersion], chosen: dict) -> QuerySet[DrillVersion]:
    for word in _words(chosen.get("q", "")):
        versions = versions.filter(
            Q(title__icontains=word)
            | Q(words__icontains=word)
            | Q(key__icontains=word)
            | Q(drill__tags__icontains=word)
        )
    if chosen.get("interval") == MIXED:
        versions = versions.filter(interval=Interval.MIXED)
    elif "interval" in chosen:
        versions = versions.filter(interval__in=FAMILIES[chosen["interval"]])
    for name in ("key", "level"):
        if name in chosen:
            versions = versions.filter(**{name: chosen[name]})
    if "instrument" in chosen:  # a drill in words is for either
        versions = versions.filter(instrument__in=("", chosen["instrument"]))
    return versions.filter(favourite=True) if chosen.get("favourite") else versions


def _words(text: str) -> list[str]:
    """What each found drill has: the words, with B flat and B-flat written as B♭ as keys are."""
    for spelled, sign in (("flat", "♭"), ("sharp", "♯")):
        for joint in ("-", " "):
            text = text.replace(f"{joint}{spelled}", sign)
    return text.split()


def _sorted(
    versions: QuerySet[DrillVersion], sort: str, order: Sequence[str]
) -> QuerySet[DrillVersion]:
    if sort == "newest":
        return versions.order_by("-created_at", "-pk")
    if sort == "title":
        return versions.order_by("title", "pk")
    by_level = [When(level=level, then=Value(place)) for level, place in _LEVELS.items()]
    by_interval = [
        When(interval__in=FAMILIES[word], then=Value(place)) for place, word in enumerate(order)
    ]
    return versions.annotate(
        level_place=Case(*by_level, default=Value(len(by_level)), output_field=IntegerField()),
        taught=Case(*by_interval, default=Value(len(by_interval)), output_field=IntegerField()),
    ).order_by(F("level_place"), F("taught"), "title", "pk")


def _counts(kinds: Kinds) -> Counter:
    """How many drills there are in each interval."""
    by_interval: Counter[str] = Counter()
    for interval, _key, many in kinds:
        by_interval[interval] += many
    found = Counter(
        {word: sum(by_interval[kind] for kind in of_word) for word, of_word in FAMILIES.items()}
    )
    found[MIXED] = by_interval[Interval.MIXED]
    return found


def _keys(kinds: Kinds) -> list[str]:
    return list(dict.fromkeys(key for _interval, key, _many in kinds if key))
