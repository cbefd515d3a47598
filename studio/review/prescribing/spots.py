"""A place of a judged clip, and what is known there for drills that treat it.

A *spot* is what the teacher points at: a mark, a bar of the drill's page, or a span of the clip.
It stands for the runs that sound there.

:func:`queued_for` says what stands in the pupil's queue already and treats it. A drill with a page
treats a fault where that very double stop is written in it. One in words treats it where it is
about the interval, in any key or in this one: more is not known of it.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from django.utils.translation import gettext as _

from studio.accounts.models import Enrolment, Person
from studio.drills.access import queue_of
from studio.drills.models import Assignment, DrillVersion
from studio.drills.rotation.proposals import plays_of
from studio.drills.shelf import FAMILIES, drills_by_family
from studio.drills.stretches import Player
from studio.figures import place
from studio.notation import Score
from studio.notation.pairs import word_of
from studio.review.marks.judging import Judged
from studio.review.marks.mark import Mark
from studio.review.models import Decision
from studio.theory import ALL_KEYS, Key, Pitch
from studio.translating import gettext_lazy

from .faults import Fault, are_open_strings, faults_of, shares_of, to_tune_first, word_of_run
from .prescription import Facts, OnShelf, double_stops_in

NOTHING = gettext_lazy("Nothing here is out of tune by more than the figures can tell.")
UNPLAYABLE = gettext_lazy(
    "What is out of tune here has no place on two neighbouring strings, so no drill is proposed."
)


@dataclass(frozen=True, slots=True)
class Spot:
    """Runs of a clip, and what the place is called. ``alone``: it is counted by itself."""

    name: str
    runs: frozenset[int]
    mark: Mark | None = None
    alone: bool = False


def spot_of_mark(judged: Judged, mark_id: int) -> Spot | None:
    mark = judged.mark(mark_id)
    if mark is None:
        return None
    runs = () if mark.run is None else (mark.run,)
    return Spot(_("The mark at %(shown)s") % {"shown": place(mark.shown[0])}, frozenset(runs), mark)


def spot_of_bar(judged: Judged, page: Score, bar: int | None) -> Spot | None:
    refs = {item.id for item in page.written if item.bar == bar}
    if not refs:
        return None
    runs = (run["id"] for run in judged.judgement["runs"] if run.get("score_ref") in refs)
    return Spot(f"Bar {bar}", frozenset(runs))


def spot_of_span(judged: Judged, start_s: float, end_s: float, name: str) -> Spot:
    """The runs whose double stop sounds within a span of the clip."""
    events = {event["id"]: event for event in judged.measurement["events"]}

    def sounds(run: Mapping) -> bool:
        heard = (events[pk] for pk in run.get("playings") or run["events"] if pk in events)
        return any(event["start_s"] < end_s and event["end_s"] > start_s for event in heard)

    runs = (run["id"] for run in judged.judgement["runs"] if sounds(run))
    return Spot(name, frozenset(runs), alone=True)


@dataclass(frozen=True, slots=True)
class SpotFacts:
    """What is known of a spot: the facts to propose from, and for whom."""

    facts: Facts
    player: Player
    interval: str  # the word of what was played here first, empty where there is none
    nothing: str  # why nothing would be proposed


def facts_at(person: Person, judged: Judged, spot: Spot, page: Score | None) -> SpotFacts:
    """The facts of a spot: faults, key, instrument, and what the shelf has in that key."""
    enrolment = judged.review.clip.enrolment
    key = key_of(judged, spot)
    instrument, player = plays_of(enrolment)
    faults = faults_of(
        judged.judgement,
        left_out=_dropped(judged, spot),
        strings={item.id: item.strings for item in page.written} if page else {},
    )
    everywhere = {run["id"] for run in judged.judgement["runs"]}
    within = spot.runs if spot.alone else everywhere
    here = tuple(fault for fault in faults if fault.run in spot.runs)
    shelf = drills_by_family(person, enrolment.studio, key.written, instrument)
    facts = Facts(
        faults=here,
        clip_faults=tuple(faults),
        key=key,
        instrument=instrument,
        string_length_mm=player.string_length_mm,
        hand=player.hand,
        shares=shares_of(judged.judgement, faults, within),
        where=_("here") if spot.alone else _("in this clip"),
        shelf=_counted({fault.word: shelf[fault.word] for fault in here if fault.word in shelf}),
    )
    nothing = UNPLAYABLE if facts.faults else _nothing(judged, spot)
    return SpotFacts(facts, player, _interval(judged, spot), nothing)


def _counted(shelf: Mapping[str, DrillVersion]) -> dict[str, OnShelf]:
    """Drills of the shelf by the word for their interval, their double stops counted."""
    whole = DrillVersion.objects.in_bulk([version.pk for version in shelf.values()])
    pages = {word: whole[version.pk].page for word, version in shelf.items()}
    return {
        word: OnShelf(version.drill_id, version.title, double_stops_in(page) if page else None)
        for (word, version), page in zip(shelf.items(), pages.values(), strict=True)
    }


def key_of(judged: Judged, spot: Spot) -> Key:
    """The drill's key; else the likeliest of what was heard; else one that has the spot's notes."""
    given = judged.judgement["policy"].get("key")
    if given:
        return Key.parse(given)
    heard = judged.measurement.get("key")
    return Key.parse(heard) if heard else _key_with(_pairs_of(judged, spot))


def _key_with(pairs: Iterable[tuple[Pitch, Pitch]]) -> Key:
    """Major on the first lower note, where that has both notes; else the key of fewest signs."""
    pair = next(iter(pairs), None)
    if pair is None:
        return ALL_KEYS[0]
    fits = [key for key in ALL_KEYS if all(key.contains(pitch) for pitch in pair)]
    on_it = (key for key in fits if key.tonic == pair[0].pitch_class_name)
    fewest = min(fits, key=lambda key: abs(key.signature), default=ALL_KEYS[0])
    return next(on_it, fewest)


def _pairs_of(judged: Judged, spot: Spot) -> Iterable[tuple[Pitch, Pitch]]:
    events = {
        pk for run in judged.judgement["runs"] if run["id"] in spot.runs for pk in run["events"]
    }
    for row in judged.judgement["intervals"]:
        if row["event"] in events and row.get("low_pitch") and row.get("high_pitch"):
            yield Pitch.parse(row["low_pitch"]), Pitch.parse(row["high_pitch"])


def _dropped(judged: Judged, spot: Spot) -> set[int]:
    """Marks that the teacher dropped; the one that is pointed at counts all the same."""
    dropped = {m.id for m in judged.marks if m.choice == Decision.Choice.DROPPED}
    return dropped - {spot.mark.id} if spot.mark else dropped


def _interval(judged: Judged, spot: Spot) -> str:
    runs = [run for run in judged.judgement["runs"] if run["id"] in spot.runs]
    words = (word_of_run(run) for run in runs)
    heard = (word_of(*pair) for pair in _pairs_of(judged, spot))
    return next((word for word in (*words, *heard) if word), "")


def _nothing(judged: Judged, spot: Spot) -> str:
    """Why nothing is proposed, where that is so."""
    if are_open_strings(judged.judgement, spot.runs):
        return _("Both notes are open strings: tune them, then play this again.")
    open_string = to_tune_first(judged.judgement, spot.runs)
    if spot.mark and spot.mark.code == "open_string_off":
        open_string = Pitch.parse(spot.mark.params["pitch"]).step
    if open_string:
        return _(
            "The open %(open_string)s string is itself out of tune: tune it first, then"
            " play this again."
        ) % {"open_string": open_string}
    return NOTHING


MOST_QUEUED = 40  # a longer queue is no longer read by anybody


@dataclass(frozen=True, slots=True)
class Queued:
    """A drill of the queue, and the names of the double stops out of tune here that it has."""

    assignment: Assignment
    treats: tuple[str, ...]


def queued_for(enrolment: Enrolment, facts: Facts) -> list[Queued]:
    """What is to be practised, in the order of the queue; ``treats`` may be empty."""
    standing = queue_of(enrolment).defer(None).defer("version__request", "version__incipit")
    return [Queued(one, treated(one.version, facts)) for one in standing[:MOST_QUEUED]]


def treated(version: DrillVersion, facts: Facts) -> tuple[str, ...]:
    """The names of the faults that a drill treats, each once."""
    found = [fault for fault in facts.faults if _treats(version, fault, facts)]
    return tuple(dict.fromkeys(fault.name for fault in found))


def _treats(version: DrillVersion, fault: Fault, facts: Facts) -> bool:
    page = version.page
    if page is not None:
        pair = [fault.low.midi, fault.high.midi]
        return any([pitch.midi for pitch in item.pitches] == pair for item in page.written)
    kinds = FAMILIES.get(fault.word, ())
    return version.interval in kinds and version.key in ("", facts.key.written)
