"""What listening and judging are told: :class:`Options` and :class:`Policy`.

Both are frozen and hold plain values only, so that they can be stored beside what they led to.
Changing a policy never needs the sound again.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache

from studio.theory import (
    SEMITONE_CENTS,
    Interval,
    Key,
    Pitch,
    instrument_named,
    interval_of_semitones,
    is_perfect,
    require_string_length,
)
from studio.theory.tunings import require_tuning

# Chosen:
A4_HZ_BOUNDS = (380.0, 480.0)  # period pitches to well above any modern one
SHORTEST_TONE_S, LONGEST_TONE_S = 0.3, 10.0  # of a reference tone: to be measured; listened to
TOLERANCE_CENTS_BOUNDS = (1.0, 60.0)  # beyond 60 the next semitone begins
# Tolerances in cents: (unison, fourth, fifth, octave; every other size).
# Chosen for this project, not a standard; the teacher sets them.
LEVELS: dict[str, tuple[float, float]] = {
    "first_steps": (25.0, 28.0),
    "growing": (15.0, 18.0),
    "advanced": (8.0, 12.0),
}
DEFAULT_LEVEL = "growing"
_NAMED_SEMITONES = range(0, 25)  # up to two octaves: chosen, what drills ask for
TARGET_WITHIN_CENTS = SEMITONE_CENTS / 2  # of a size's name; beyond, by definition, the next begins


@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """What was played on, and what is known of the tuning.

    Parameters
    ----------
    instrument : violin or viola
    string_length_mm : vibrating string length, 150 to 450 mm; the usual one when ``None``
    open_strings : pitch names from low to high; the usual ones when ``None``
    a4_hz : frequency of A4 in Hz, 380 to 480, when it is known; estimated when ``None``
    reference_tone_s : (start, end) in seconds of the clip where a reference tone or an open string
        sounds alone, for A4 to be measured there; at least 0.3 s; not beside ``a4_hz``
    reference_tone_pitch : pitch name of that tone; its octave does not matter

    Raises
    ------
    ValueError
        Naming the value and the bound.
    """

    instrument: str = "violin"
    string_length_mm: float | None = None
    open_strings: tuple[str, ...] | None = None
    a4_hz: float | None = None
    reference_tone_s: tuple[float, float] | None = None
    reference_tone_pitch: str = "A4"

    def __post_init__(self) -> None:
        known = instrument_named(self.instrument)
        length = known.string_length_mm if self.string_length_mm is None else self.string_length_mm
        require_string_length(length)
        names = self.open_strings or tuple(str(pitch) for pitch in known.open_strings)
        pitches = [Pitch.parse(name) for name in names]
        midi = [pitch.midi for pitch in pitches]
        if midi != sorted(set(midi)):
            raise ValueError(f"open strings {', '.join(names)} must run from low to high")
        object.__setattr__(self, "string_length_mm", float(length))
        object.__setattr__(self, "open_strings", tuple(str(pitch) for pitch in pitches))
        low, high = A4_HZ_BOUNDS
        if self.a4_hz is not None and not low <= self.a4_hz <= high:
            raise ValueError(f"A4 of {self.a4_hz} Hz is outside {low:g} to {high:g} Hz; try 440")
        self._check_tone()

    def _check_tone(self) -> None:
        Pitch.parse(self.reference_tone_pitch)
        if self.reference_tone_s is None:
            return
        start_s, end_s = (float(at) for at in self.reference_tone_s)
        if not (start_s >= 0.0 and SHORTEST_TONE_S <= end_s - start_s < float("inf")):
            raise ValueError(
                f"a reference tone from {start_s:g} to {end_s:g} s is not a span of at least "
                f"{SHORTEST_TONE_S:g} s; try 0.5 to 2.5"
            )
        if self.a4_hz is not None:
            raise ValueError(
                f"A4 of {self.a4_hz:g} Hz and a reference tone cannot both be given; leave out one"
            )
        object.__setattr__(self, "reference_tone_s", (start_s, end_s))

    @property
    def strings(self) -> tuple[Pitch, ...]:
        """The open strings as pitches, from low to high."""
        return _pitches(self.open_strings or ())


@lru_cache(maxsize=64)
def _pitches(names: tuple[str, ...]) -> tuple[Pitch, ...]:
    return tuple(Pitch.parse(name) for name in names)


@dataclass(frozen=True, slots=True, kw_only=True)
class Policy:
    """What counts as in tune.

    Parameters
    ----------
    tuning : just, pythagorean or equal, for notes held together
    melodic_tuning : equal or pythagorean, for single lines
    level : first_steps, growing or advanced: the default tolerances
    tolerance_cents : cents by short interval name (``{"P8": 10}``), over the level's; or one
        number for every interval; 1 to 60 cents
    targets_cents : the teacher's choice of size by short name, for sizes without an agreed one
        (``{"m7": 1017.6}``) or instead of the tuning's
    key : key name such as ``Bb major``, to spell what was heard; the clip's likeliest one when
        ``None``
    interval : short name of the interval the drill is about (``P8``), so that a playing far off
        is still known for what it was meant to be; ``None`` when unknown
    judge_singles : judge single notes against the melodic tuning (single-line drills only)
    single_tolerance_cents : for single notes; the level's for an octave when ``None``

    Raises
    ------
    ValueError
        Naming the value and the bound.
    """

    tuning: str = "just"
    melodic_tuning: str = "equal"
    level: str = DEFAULT_LEVEL
    tolerance_cents: Mapping[str, float] | float | None = None
    targets_cents: Mapping[str, float] = field(default_factory=dict)
    key: str | None = None
    interval: str | None = None
    judge_singles: bool = False
    single_tolerance_cents: float | None = None

    def __post_init__(self) -> None:
        require_tuning(self.tuning)
        if self.melodic_tuning not in ("equal", "pythagorean"):
            raise ValueError(
                f"melodic tuning {self.melodic_tuning!r} is not known; choose equal or pythagorean"
            )
        if self.level not in LEVELS:
            raise ValueError(f"level {self.level!r} is not known; choose {', '.join(LEVELS)}")
        if self.key is not None:
            object.__setattr__(self, "key", str(Key.parse(self.key)))
        if self.interval is not None:
            Interval.parse(self.interval)
        object.__setattr__(self, "tolerance_cents", self._tolerances())
        targets = {_short(name): float(cents) for name, cents in self.targets_cents.items()}
        object.__setattr__(self, "targets_cents", targets)
        for name, cents in targets.items():
            _require_near_size(name, cents)
        if self.single_tolerance_cents is None:
            object.__setattr__(self, "single_tolerance_cents", self.tolerance_for(Interval("P", 8)))
        _require_tolerance("single notes", self.single_tolerance_cents)

    def _tolerances(self) -> dict[str, float]:
        """Every usual interval up to two octaves, then whatever else was named."""
        given = self.tolerance_cents
        perfect, other = LEVELS[self.level]
        if given is not None and not isinstance(given, Mapping):
            perfect = other = float(given)
            given = None
        table = {}
        for semitones in _NAMED_SEMITONES:
            interval = interval_of_semitones(semitones)
            table[interval.short] = perfect if is_perfect(interval) else other
        table.update({_short(name): float(cents) for name, cents in (given or {}).items()})
        for name, cents in table.items():
            _require_tolerance(name, cents)
        return table

    def tolerance_for(self, interval: Interval) -> float:
        """Tolerance in cents for an interval."""
        table = self.tolerance_cents
        assert isinstance(table, dict)  # made so in __post_init__
        found = table.get(interval.short)
        if found is None:
            found = table["P8"] if is_perfect(interval) else table["M6"]
        return float(found)

    def to_dict(self) -> dict[str, object]:
        """Plain values for JSON."""
        return {
            "tuning": self.tuning,
            "melodic_tuning": self.melodic_tuning,
            "level": self.level,
            "tolerance_cents": dict(self.tolerance_cents),  # type: ignore[arg-type]
            "targets_cents": dict(self.targets_cents),
            "key": self.key,
            "interval": self.interval,
            "judge_singles": self.judge_singles,
            "single_tolerance_cents": self.single_tolerance_cents,
        }

    @classmethod
    def from_dict(cls, data: Mapping[str, object]) -> "Policy":
        """A stored policy; what is missing gets its default, what is unknown is left out."""
        known = {name: data[name] for name in cls.__dataclass_fields__ if name in data}
        return cls(**known)  # type: ignore[arg-type]


def _short(name: str) -> str:
    return Interval.parse(name).short


def _require_tolerance(name: str, cents: float | None) -> None:
    low, high = TOLERANCE_CENTS_BOUNDS
    if cents is None or not low <= cents <= high:
        raise ValueError(
            f"tolerance {cents} cents for {name} is outside {low:g} to {high:g} cents; try 15"
        )


def _require_near_size(name: str, cents: float) -> None:
    size = SEMITONE_CENTS * Interval.parse(name).semitones
    if abs(cents - size) > TARGET_WITHIN_CENTS:
        raise ValueError(
            f"target {cents} cents for {name} is outside "
            f"{size - TARGET_WITHIN_CENTS:g} to {size + TARGET_WITHIN_CENTS:g} cents"
        )
