"""What a judged clip has to say of progress: its double stops and single notes, one row for each.

Counted is what was measured for certain enough to be judged, of double stops by their runs: the
first playing, its landing, and the last settled one, which is what a mark goes by. What the teacher
dropped does not count: a run in which she said that the mark is wrong tells nothing.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

import numpy as np
from django.utils import timezone

from studio.intonation.model.judgement import CLOSE_TO_LIMIT
from studio.review.marks.judging import Judged
from studio.review.marks.mark import PITCH_LEEWAY_SEMITONES
from studio.review.models import Decision
from studio.theory import SEMITONE_CENTS, VIOLIN, Pitch, in_cents, instrument_named
from studio.theory.instruments import MAX_STOP_SEMITONES as MOST

from .playings import ROW, PlayedClip
from .statistics.robust import location

A4_MIDI = 69
MEASURED = (None, CLOSE_TO_LIMIT)  # reasons for doubt that leave the size itself certain
SIZES = ("settled", "size", "doubt", "first", "landing", "moved", "balance", "low_off", "high_off")


@dataclass(frozen=True, slots=True)
class Place:
    """What makes runs of a clip the same thing, as in a row of :mod:`.playings`."""

    low: int
    high: int = 0
    short: bytes = b""
    strings: tuple[int, int] = (0, 0)
    fingers: tuple[int, int] = (-1, -1)
    stops: tuple[int, int] = (-1, -1)
    position: int = -1
    shifted: int = -1


def gathered(judged: Judged) -> PlayedClip:
    """A judged clip's rows and what they were recorded and judged with."""
    clip, answers = judged.review.clip, judged.review.answers
    drill = answers.version if answers else None
    reference = judged.measurement["reference"]
    heard = [event["quality"].get("snr_db") for event in judged.measurement["events"]]
    noise = [each for each in heard if each is not None]
    return PlayedClip(
        clip=clip.pk,
        day=timezone.localdate(clip.created_at),
        rows=rows_of(judged),
        drill=drill.drill_id if drill else 0,
        tuning=judged.judgement["policy"]["tuning"],
        key=drill.key if drill else "",
        a4_hz=None if reference["source"] == "assumed" else reference["a4_hz"],
        snr_db=float(np.median(noise)) if noise else None,
    )


def rows_of(judged: Judged) -> np.ndarray:
    """One row for each thing that was played, of all of its runs."""
    runs: dict[Place, list[dict[str, float]]] = {}
    for place, figures in _Reader(judged).all():
        runs.setdefault(place, []).append(figures)
    rows = np.zeros(len(runs), ROW)
    for row, (place, figures) in zip(rows, runs.items(), strict=True):
        row["low"], row["high"], row["short"] = place.low, place.high, place.short
        row["strings"], row["fingers"] = place.strings, place.fingers
        row["position"], row["runs"] = place.position, len(figures)
        row["stops"], row["shifted"] = place.stops, place.shifted
        middles = {name: _middle(each[name] for each in figures) for name in SIZES}
        row["off"] = middles.pop("low_off"), middles.pop("high_off")
        for name, value in middles.items():
            row[name] = value
        nearest = min(figures, key=lambda each: abs(each["size"] - float(row["size"])))
        row["at_s"] = nearest["at_s"]
    return rows


def _middle(values: Iterable[float]) -> float:
    known = np.array([value for value in values if np.isfinite(value)])
    return location(known) if len(known) else np.nan


class _Reader:
    def __init__(self, judged: Judged):
        self.judgement = judged.judgement
        self.events = {event["id"]: event for event in judged.measurement["events"]}
        self.rows = {row["event"]: row for row in reversed(judged.judgement["intervals"])}
        self.dropped = [
            decision
            for decision in judged.review.decisions.all()
            if decision.choice == Decision.Choice.DROPPED
        ]
        answers = judged.review.answers
        score = answers.version.page if answers else None
        self.written = {item.id: item for item in score.written} if score else {}
        reference = judged.measurement["reference"]
        self.a4_hz = None if reference["source"] == "assumed" else reference["a4_hz"]
        instrument = judged.measurement["options"].get("instrument") or VIOLIN.name
        self.open_strings = [pitch.midi for pitch in instrument_named(instrument).open_strings]

    def all(self) -> Iterator[tuple[Place, dict[str, float]]]:
        for run in self.judgement["runs"]:
            played = [event for event in run["playings"] if self._is_measured(event)]
            if played and not any(map(self._is_dropped, played)):
                yield self._double_stop(run, played)
        for row in self.judgement["singles"]:
            if row["unsure_reason"] in MEASURED and not self._is_dropped(row["event"]):
                yield self._single(row)

    def _is_measured(self, event: int) -> bool:
        row = self.rows.get(event)
        return (
            row is not None
            and self.events[event]["kind"] == "double_stop"
            and row["deviation_cents"] is not None
            and row["unsure_reason"] in MEASURED
        )

    def _is_dropped(self, event: int) -> bool:
        """Whether the teacher dropped a mark of this moment and these notes."""
        heard = self.events[event]
        midis = [voice["midi"] for voice in heard["voices"]]
        return any(
            len(decision.midis) == len(midis)
            and decision.start_s < heard["end_s"]
            and heard["start_s"] < decision.end_s
            and all(
                abs(one - other) <= PITCH_LEEWAY_SEMITONES
                for one, other in zip(decision.midis, midis, strict=True)
            )
            for decision in self.dropped
        )

    def _double_stop(self, run: Mapping, played: list[int]) -> tuple[Place, dict[str, float]]:
        first, last = self.rows[played[0]], self.rows[played[-1]]
        heard, began = self.events[played[-1]], self.events[played[0]]
        interval = heard["intervals"][0]
        low, high = (heard["voices"][n] for n in (last["low"], last["high"]))
        landing = began["intervals"][0].get("landing_size_cents")
        place = self._place(run, last, low, high)
        low_off, high_off = self._off(place, last, (low["f0_hz"], high["f0_hz"]))
        return place, {
            "low_off": low_off,
            "high_off": high_off,
            "at_s": heard["start_s"],
            "settled": last["deviation_cents"],
            "size": abs(last["deviation_cents"]),
            "doubt": _known(interval["uncertainty_cents"]),
            "first": abs(first["deviation_cents"]),
            "landing": abs(_known(landing) - _known(first["target_cents"])),
            "moved": _known(interval.get("moved_cents")),
            "balance": _known(high.get("level_db")) - _known(low.get("level_db")),
        }

    def _place(self, run: Mapping, row: Mapping, low: Mapping, high: Mapping) -> Place:
        names = (row["low_pitch"], row["high_pitch"])
        midis = [
            Pitch.parse(name).midi if name else voice["midi"]
            for name, voice in zip(names, (low, high), strict=True)
        ]
        item = self.written.get(run["score_ref"] or "")
        strings = item.strings if item else (low.get("string"), high.get("string"))
        fingers = item.fingers if item else (low.get("finger"), high.get("finger"))
        position = item.position if item and item.position is not None else -1
        strings = _pair(strings, (0, 0))
        return Place(
            low=midis[0],
            high=midis[1],
            short=row["short"].encode()[:4],
            strings=strings,
            fingers=_pair(fingers, (-1, -1)),
            stops=self._stops(midis, strings),
            position=position,
            shifted=int(item.shift) if item else -1,
        )

    def _stops(self, midis: list[int], strings: tuple[int, int]) -> tuple[int, int]:
        """Semitones above each open string, where both notes can be stopped there."""
        count = len(self.open_strings)
        if not all(1 <= number <= count for number in strings):
            return -1, -1
        low, high = (
            midi - self.open_strings[count - number]
            for midi, number in zip(midis, strings, strict=True)
        )
        return (low, high) if min(low, high) >= 0 and max(low, high) <= MOST else (-1, -1)

    def _off(
        self, place: Place, row: Mapping, hz: tuple[float | None, float | None]
    ) -> tuple[float, float]:
        """How sharp each note is; see :mod:`.playings`."""
        if self.a4_hz is None or None in hz or row["target_cents"] is None:
            return np.nan, np.nan
        low, high = (
            in_cents((f or 1.0) / self.a4_hz) - SEMITONE_CENTS * (midi - A4_MIDI)
            for f, midi in zip(hz, (place.low, place.high), strict=True)
        )
        apart = row["target_cents"] - SEMITONE_CENTS * (place.high - place.low)
        share = {0: 0.0}.get(place.stops[0], {0: 1.0}.get(place.stops[1], 0.5))  # the lower note's
        return low + share * apart, high - (1.0 - share) * apart

    def _single(self, row: Mapping) -> tuple[Place, dict[str, float]]:
        heard = self.events[row["event"]]
        voice = heard["voices"][0]
        off = row["deviation_cents"]
        figures = dict.fromkeys(SIZES, np.nan) | {
            "at_s": heard["start_s"],
            "settled": off,
            "size": abs(off),
            "doubt": _known(voice["uncertainty_cents"]),
            "moved": _known(voice.get("steadiness_cents")),
        }
        return Place(low=Pitch.parse(row["pitch"]).midi), figures


def _known(value: float | None) -> float:
    return np.nan if value is None else float(value)


def _pair(found: tuple[int | None, ...], nothing: tuple[int, int]) -> tuple[int, int]:
    """Both, where both are known."""
    if len(found) != 2 or None in found:
        return nothing
    return int(found[0] or 0), int(found[1] or 0)
