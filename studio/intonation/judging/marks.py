"""Building marks: the moments proposed to the teacher, with what their sentences need."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from studio.intonation.judging.attribution import Compared, Hands, Move, is_one_finger, who_moves
from studio.intonation.judging.interval_naming import Named
from studio.intonation.judging.remarks import BALANCE_DB
from studio.intonation.model.judgement import SURE, JudgedInterval, Mark, Remark, Run, severity_of
from studio.intonation.model.measurement import Event, HeardInterval, Measurement, OpenString
from studio.theory import Pitch

# By definition pure fifths and equal temperament differ by up to 6 cents on an open string: that is
# no fault.
OPEN_STRING_CENTS = 6.0
OPEN_STRING_MATCH = 0.003  # as a share of the frequency, about 5 cents: chosen
# Chosen: before one note is marked as missing
CLEAR_DROPOUT_S = 0.3  # shorter ones are said, and not marked
SURE_CONFIDENCE = 0.8  # that these two notes sounded, before one is said to be missing


@dataclass(slots=True)
class JudgedPlaying:
    """One playing of a run: its place from 1, its event, the interval judged, and its fingers."""

    place: int
    event: Event
    judged: JudgedInterval
    named: Named
    hands: Hands

    @property
    def heard(self) -> HeardInterval:
        """The measured interval behind the judged one."""
        if len(self.event.intervals) == 1:
            return self.event.intervals[0]
        pair = (self.judged.low, self.judged.high)
        return next(i for i in self.event.intervals if (i.low, i.high) == pair)


def interval_mark(
    run: Run, row: JudgedPlaying, first_is: str, alone: Compared, measurement: Measurement
) -> Mark:
    """The mark of a run whose last settled playing is out.

    ``first_is`` says what the run's first deviation is of: a playing, or a landing; ``alone`` how
    the playing's notes stand against themselves played separately.
    """
    deviation = row.judged.deviation_cents
    assert deviation is not None  # only a measured playing is marked
    move = who_moves(row.event, row.judged, row.named, row.hands, measurement, alone)
    voice = None  # named only where the other one, an open string, cannot move
    if move.open_string is not None:
        voice = row.judged.high if move.which == "upper" else row.judged.low
    return Mark(
        id=0,
        start_s=row.event.start_s,
        end_s=row.event.end_s,
        code="interval_wide" if deviation > 0 else "interval_narrow",
        events=(row.event.id,),
        run=run.id,
        voice=voice,
        basis="settled",
        severity=severity_of(deviation, row.named.tolerance_cents),
        params=_interval_params(run, row, first_is)
        | _move_params(row, move, alone, measurement)
        | _fingering(row, move.which),
    )


def _interval_params(run: Run, row: JudgedPlaying, first_is: str) -> dict[str, Any]:
    """What the interval was, in this playing and in its run."""
    return {
        "interval": row.judged.short,
        "low": row.judged.low_pitch,
        "high": row.judged.high_pitch,
        "at_s": row.event.start_s,
        "playing": row.place,
        "playings": len(run.playings),
        "deviation_cents": row.judged.deviation_cents,
        "uncertainty_cents": row.heard.uncertainty_cents,
        "tolerance_cents": row.named.tolerance_cents,
        "first_cents": run.first_cents,
        "first": first_is,
    }


def _move_params(
    row: JudgedPlaying, move: Move, alone: Compared, measurement: Measurement
) -> dict[str, Any]:
    """Which note has to move, and why."""
    params: dict[str, Any] = {
        "move": move.which,
        "because": move.because,
        "open": move.open_string,
        "maybe_open": list(move.maybe_open),
    }
    if move.open_string is not None:
        params["open_off_cents"] = _open_string_off(row, move.which, measurement)
    if move.because == "slipped":
        slip = alone[0] if move.which == "lower" else alone[1]
        assert slip is not None  # it is what says so
        params |= {"slipped_cents": slip.cents, "slipped_uncertainty_cents": slip.uncertainty_cents}
    return params


def _fingering(row: JudgedPlaying, which: str) -> dict[str, Any]:
    """What the drill's fingering adds: bar, and finger, string and millimetres of what may move.

    ``moves`` holds them for each note that may move. Where that is one note, they also stand by
    themselves, with the ``note``.
    """
    named = row.named
    found: dict[str, Any] = {}
    if named.expected is not None and named.expected.bar is not None:
        found["bar"] = named.expected.bar
    hands = row.hands
    moves = []
    for place, name in enumerate(("lower", "upper")):
        hand = hands[place]
        if hand is None or hand.finger == 0 or which not in (name, "either"):
            continue
        move: dict[str, Any] = {"which": name, "finger": hand.finger, "string": hand.string}
        deviation, doubt = row.judged.deviation_cents, row.heard.uncertainty_cents
        distance = hand.distance_mm(deviation or 0.0, doubt or 0.0)
        if distance is not None:
            move |= {"move_mm": distance[0], "uncertainty_mm": distance[1]}
        moves.append(move)
    if moves:
        found["moves"] = moves
        found["one_finger"] = is_one_finger(*hands)
    if len(moves) == 1 and which != "either":
        place = 0 if which == "lower" else 1
        found["note"] = (named.low, named.high)[place].pretty
        found |= {key: value for key, value in moves[0].items() if key != "which"}
    return found


def _open_string_off(row: JudgedPlaying, which: str, measurement: Measurement) -> float | None:
    """How far the open string beside the note that moves is itself mistuned; ``None`` if not."""
    midi = row.named.midi[0 if which == "upper" else 1]
    for string in measurement.open_strings:
        if Pitch.parse(string.pitch).midi == midi and is_mistuned(string, measurement):
            return string.deviation_cents
    return None


def bow_mark(run: Run, rows: Sequence[JudgedPlaying], measurement: Measurement) -> Mark | None:
    """The mark of a run in tune whose last playing lost a voice, or all but hid one.

    Only where the drill says that both notes are held, and only beyond doubt.
    """
    if not rows:
        return None
    last = rows[-1]
    sure = [remark for remark in run.remarks if _is_sure_fault(remark, last)]
    if not sure:
        return None
    remark = sure[0]
    params = {
        "interval": last.judged.short,
        "low": last.judged.low_pitch,
        "high": last.judged.high_pitch,
        "at_s": last.event.start_s,
        **remark.params,
    }
    if last.named.expected is not None and last.named.expected.bar is not None:
        params["bar"] = last.named.expected.bar
    voice = last.judged.low if remark.params["which"] == "lower" else last.judged.high
    return Mark(
        id=0,
        start_s=remark.params.get("at_s", last.event.start_s),
        end_s=remark.params.get("until_s", last.event.end_s),
        code=remark.code,
        events=(last.event.id,),
        run=run.id,
        voice=voice,
        basis="settled",
        severity=1,
        params=params,
    )


def _is_sure_fault(remark: Remark, last: JudgedPlaying) -> bool:
    if remark.event != last.event.id or not remark.params.get("held"):
        return False
    if last.event.confidence < SURE_CONFIDENCE or last.event.doubt is not None:
        return False
    if remark.code == "voice_dropout":
        return float(remark.params["silent_s"]) >= CLEAR_DROPOUT_S
    if remark.code == "balance":
        beyond = remark.params["balance_db"] - BALANCE_DB
        return float(beyond) > SURE * float(remark.params["uncertainty_db"])
    return False


def numbered(marks: Sequence[Mark]) -> tuple[Mark, ...]:
    """The same marks in the same order, numbered from 0 and ranked by importance from 1."""
    order = sorted(range(len(marks)), key=lambda place: _importance(marks[place]), reverse=True)
    ranks = {place: rank for rank, place in enumerate(order, start=1)}
    return tuple(mark.placed(place, ranks[place]) for place, mark in enumerate(marks))


def _importance(mark: Mark) -> tuple[int, float, float]:
    """Kind, then times the tolerance, then the earlier one."""
    kinds = {"open_string_off": 3, "voice_dropout": 1, "balance": 0}
    tolerance = mark.params.get("tolerance_cents")
    times = abs(mark.params["deviation_cents"]) / tolerance if tolerance else 0.0
    return kinds.get(mark.code, 2), times, -mark.start_s


def is_mistuned(string: OpenString, measurement: Measurement) -> bool:
    """Whether an open string is out by clearly more than tuning in pure fifths explains."""
    if string.uncertainty_cents is None:
        return False
    doubt = _doubt_of(string, measurement)
    return abs(string.deviation_cents) - OPEN_STRING_CENTS > SURE * doubt


def _doubt_of(string: OpenString, measurement: Measurement) -> float:
    reference = measurement.reference.uncertainty_cents or 0.0
    return float(((string.uncertainty_cents or 0.0) ** 2 + reference**2) ** 0.5)


def open_string_mark(string: OpenString, measurement: Measurement) -> Mark | None:
    """A mark at the first sounding of an open string that is clearly out of tune, else ``None``."""
    if not is_mistuned(string, measurement):
        return None
    event = _first_sounding(string, measurement)
    if event is None:
        return None
    return Mark(
        id=0,
        start_s=event.start_s,
        end_s=event.end_s,
        code="open_string_off",
        events=(event.id,),
        run=None,
        voice=None,
        basis="settled",
        severity=severity_of(string.deviation_cents, OPEN_STRING_CENTS),
        params={
            "pitch": string.pitch,
            "deviation_cents": string.deviation_cents,
            "uncertainty_cents": _doubt_of(string, measurement),
            "tolerance_cents": OPEN_STRING_CENTS,
        },
    )


def _first_sounding(string: OpenString, measurement: Measurement) -> Event | None:
    for event in measurement.events:
        for voice in event.voices:
            if abs(voice.f0_hz / string.f0_hz - 1.0) < OPEN_STRING_MATCH:
                return event
    return None
