"""Real playing: whole movements by two players, and what their scores say sounds when.

Conventions: seconds from the first sample that ffmpeg decodes; a label's pitches are those of the
score's notes at the A4 stated with it, equal-tempered. Labels tell which notes, never how many
cents. ``tests/benchmarks/real-playing/README.md`` has the columns, the source and the licence.
"""

import csv
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from importlib import import_module
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import numpy as np

from tests.benchmarks.ear.material import SR, Material

FOLDER = Path(__file__).resolve().parents[1] / "real-playing"
PLAYERS = ("player-a", "player-b")
QUICK = ("player-b-slow.opus",)
COUNTED = ("ok", "likely")  # of ``check``: what both voices can be heard of
FIT = "tests.intonation.detection.fit_common_bow"
FITTED = "studio.intonation.detection.common_bow"


@dataclass(frozen=True, slots=True)
class Span:
    """A span of the score and its notes from low to high. ``struck`` of them begin here."""

    start_s: float
    end_s: float
    midi: tuple[int, ...]
    a4_hz: float
    check: str = "ok"
    struck: int = 1

    @property
    def length_s(self) -> float:
        return self.end_s - self.start_s

    @property
    def f0s_hz(self) -> tuple[float, ...]:
        return tuple(self.a4_hz * 2.0 ** ((midi - 69) / 12.0) for midi in self.midi)

    @property
    def semitones(self) -> int:
        return self.midi[-1] - self.midi[0]


@dataclass(frozen=True, slots=True)
class Labels:
    """What a movement's score says; ``line``: spans scored as one line, notes not told."""

    pairs: tuple[Span, ...]
    singles: tuple[Span, ...]
    line: tuple[tuple[float, float], ...]

    @property
    def single_line(self) -> bool:
        """The whole movement is one line."""
        return not self.pairs


def movements() -> list[str]:
    """The names of all recordings."""
    found = sorted(path.name for path in FOLDER.glob("player-*.*"))
    if not found:
        raise FileNotFoundError(f"{FOLDER} holds no recordings named player-*; restore them")
    return found


def player_of(name: str) -> str:
    """player-a or player-b."""
    return "-".join(name.split("-")[:2])


def labels(name: str) -> Labels:
    """The labels of one recording."""
    pairs = [_span(row, "midi_low", "midi_high") for row in _rows("pairs", name)]
    singles = [_span(row, "midi") for row in _rows("singles", name)]
    line = [
        (float(row["start_s"]), float(row["end_s"])) for row in _rows("single_line_stretches", name)
    ]
    return Labels(tuple(pairs), tuple(singles), tuple(line))


def _rows(table: str, name: str) -> list[dict[str, str]]:
    with (FOLDER / f"{table}.csv").open(encoding="utf-8", newline="") as lines:
        return [row for row in csv.DictReader(lines) if row["file"] == name]


def _span(row: dict[str, str], *notes: str) -> Span:
    return Span(
        float(row["start_s"]),
        float(row["end_s"]),
        tuple(int(row[note]) for note in notes),
        float(row["a4_hz"]),
        row["check"],
        len(row.get("struck", "one").split()),
    )


def movement(name: str) -> Material:
    """The whole recording. Nothing is told: no drill, no A4, no instrument but the violin."""
    decode = ["ffmpeg", "-v", "error", "-nostdin", "-i", str(FOLDER / name)]
    raw = subprocess.run(
        [*decode, "-f", "f32le", "-ac", "1", "-ar", str(SR), "-"], capture_output=True, check=True
    ).stdout
    return Material(name, np.frombuffer(raw, dtype=np.float32).astype(np.float64), [])


def leaves_players_out() -> bool:
    """Whether the listening can be fitted without a player (else it is judged as it is)."""
    return _refit() is not None


def _refit() -> Any:
    if find_spec(FIT) is None or find_spec(FITTED) is None:
        return None
    return getattr(import_module(FIT), "weights_without", None)


@contextmanager
def fitted_without(player: str) -> Iterator[None]:
    """Within it the listening is as it would be, had it been fitted without ``player``.

    What learns from these recordings offers ``weights_without(player) -> (weights, bias)`` in
    ``FIT``; they take the place of ``WEIGHTS`` and ``BIAS`` in ``FITTED``.
    """
    refit = _refit()
    if refit is None:
        yield
        return
    module = import_module(FITTED)
    usual = module.WEIGHTS, module.BIAS
    module.WEIGHTS, module.BIAS = refit(player)
    try:
        yield
    finally:
        module.WEIGHTS, module.BIAS = usual
