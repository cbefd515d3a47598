"""What a place of a clip sounded like, and what it would sound like in tune.

Nothing is told beside what was measured and judged: the note that need not move stays where it was
heard, and the other stands at the target's distance from it, so that both are of one pitch level
and at the clip's own A. A single note's target is the judgement's; an open string's is what its
deviation was said of.

Frequencies in Hz, from low to high; levels are each voice's RMS in dB re full scale, as the
recording has them; times in seconds on the clip's axis.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from studio.intonation.model.judgement import CLOSE_TO_LIMIT
from studio.review.marks.judging import Judged
from studio.theory import Interval, Pitch, as_ratio

BEFORE_S = 0.05  # a comment made just before an onset is about the note that follows
HZ_DIGITS, LEVEL_DIGITS = 3, 1  # a thousandth of a hertz at G3 is 0.01 c


@dataclass(frozen=True, slots=True)
class Target:
    """A double stop or a lone note: what was heard, and the same in tune."""

    name: str
    start_s: float
    end_s: float
    heard_hz: tuple[float, ...]
    hz: tuple[float, ...]
    levels_db: tuple[float | None, ...]

    def to_dict(self) -> dict[str, Any]:
        """Plain values for JSON."""
        return {
            "name": self.name,
            "start_s": self.start_s,
            "end_s": self.end_s,
            "heard_hz": [round(f, HZ_DIGITS) for f in self.heard_hz],
            "hz": [round(f, HZ_DIGITS) for f in self.hz],
            "levels_db": [None if db is None else round(db, LEVEL_DIGITS) for db in self.levels_db],
        }


class Targets:
    """The targets of one judged listening, by event, by mark and by time."""

    def __init__(self, judged: Judged):
        self._judged = judged
        self._events = {event["id"]: event for event in judged.measurement["events"]}
        self._rows = {row["event"]: row for row in reversed(judged.judgement["intervals"])}
        self._singles = {row["event"]: row for row in judged.judgement["singles"]}

    def of_event(self, number: int) -> Target | None:
        """Of a double stop; ``None`` where nothing was measured or the size has no target."""
        row, event = self._rows.get(number), self._events.get(number)
        if row is None or event is None or row["target_cents"] is None:
            return None
        voices = [event["voices"][row[which]] for which in ("low", "high")]
        low, high = (voice["f0_hz"] for voice in voices)
        if low is None or high is None:
            return None
        ratio = as_ratio(row["target_cents"])
        hz = (high / ratio, high) if self._lower_moves(number, row) else (low, low * ratio)
        return _target(name_of(row, event), event, voices, hz)

    def of_mark(self, code: str, events: Iterable[int], params: Mapping) -> Target | None:
        """What a mark is about: its last event, or the open string that it names."""
        number = max(events, default=None)
        event = self._events.get(number) if number is not None else None
        if event is None:
            return None
        if code == "open_string_off":
            return self._open_string(event, params)
        if code.startswith("single_"):
            return self._single(event)
        return self.of_event(event["id"])

    def at(self, start_s: float, end_s: float | None) -> Target | None:
        """Of the surely measured double stop that most of a span is about, or of its one moment."""
        until = start_s if end_s is None else end_s
        near = [
            event
            for event in self._events.values()
            if event["start_s"] <= until + BEFORE_S and event["end_s"] >= start_s
        ]
        sure = [event for event in near if self._is_sure(event["id"])]
        longest = max(sure, key=lambda event: _shared_s(event, start_s, until), default=None)
        return None if longest is None else self.of_event(longest["id"])

    def _is_sure(self, number: int) -> bool:
        row = self._rows.get(number)
        return row is not None and row["unsure_reason"] in (None, CLOSE_TO_LIMIT)

    def _lower_moves(self, number: int, row: Mapping) -> bool:
        marks = self._judged.judgement["marks"]
        mark = next((mark for mark in marks if number in mark["events"]), None)
        if mark is None:
            return False
        alone = mark["voice"] is not None and mark["voice"] == row["low"]
        return alone or mark["params"].get("move") == "lower"

    def _single(self, event: Mapping) -> Target | None:
        row, voices = self._singles.get(event["id"]), event["voices"][:1]
        if row is None or voices[0]["f0_hz"] is None:
            return None
        name = Pitch.parse(row["pitch"]).pretty
        return _target(name, event, voices, (row["target_hz"],))

    def _open_string(self, event: Mapping, params: Mapping) -> Target | None:
        strings = self._judged.measurement["open_strings"]
        string = next((one for one in strings if one["pitch"] == params.get("pitch")), None)
        if string is None:
            return None
        nearest = min(event["voices"], key=lambda voice: abs(voice["f0_hz"] - string["f0_hz"]))
        hz = string["f0_hz"] / as_ratio(string["deviation_cents"])
        return _target(Pitch.parse(string["pitch"]).pretty, event, [nearest], (hz,))


def stops_of(judged: Judged) -> list[dict[str, Any]]:
    """The last measured playing of each run, in time: what two clips of a drill are paired by.

    ``ref`` is what is written there, ``begins_s`` when its first playing began.
    """
    events = {event["id"]: event for event in judged.measurement["events"]}
    rows = {row["event"]: row for row in reversed(judged.judgement["intervals"])}
    found = []
    for run in judged.judgement["runs"]:
        played = [number for number in run["playings"] if number in rows]
        if not played:
            continue
        measured = [n for n in played if rows[n]["deviation_cents"] is not None]
        last = (measured or played)[-1]
        found.append(
            {
                "name": name_of(rows[last], events[last]),
                "ref": run["score_ref"] or "",
                "start_s": events[last]["start_s"],
                "end_s": events[last]["end_s"],
                "begins_s": events[played[0]]["start_s"],
            }
        )
    return sorted(found, key=lambda stop: stop["start_s"])


def name_of(row: Mapping, event: Mapping) -> str:
    """The interval and its two notes, as the ledger has them: ``octave D5–D6``."""
    notes = (row.get(f"{w}_pitch") or event["voices"][row[w]]["pitch"] for w in ("low", "high"))
    pretty = "–".join(Pitch.parse(note).pretty for note in notes)
    return f"{Interval.parse(row['short']).everyday} {pretty}"


def _target(name: str, event: Mapping, voices: list, hz: tuple[float, ...]) -> Target:
    return Target(
        name=name,
        start_s=event["start_s"],
        end_s=event["end_s"],
        heard_hz=tuple(voice["f0_hz"] for voice in voices),
        hz=hz,
        levels_db=tuple(voice.get("level_db") for voice in voices),
    )


def _shared_s(event: Mapping, start_s: float, end_s: float) -> tuple[float, float]:
    """How much of a span an event fills; of equal ones the last begun counts."""
    shared = min(event["end_s"], end_s) - max(event["start_s"], start_s)
    return shared, float(event["start_s"])
