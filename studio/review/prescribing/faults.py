"""What is out of tune at a place of a judged clip, and how many share it.

Pure: the plain form of a judgement in. A *fault* is a run that the judgement marks wide or narrow
for certain, at its last settled playing; what is unsure, in tune or near is none, and neither is
what an open string beside it, itself out of tune, explains. Every figure is the judgement's own.
"""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass

from django.utils.translation import gettext as _

from studio import figures
from studio.intonation.wording.sentences import standing
from studio.notation.pairs import word_of, word_of_size
from studio.theory import Interval, Pitch

CODES = ("interval_wide", "interval_narrow")
SURE_VERDICTS = ("in_tune", "near", "out")


@dataclass(frozen=True, slots=True)
class Slip:
    """A note that went elsewhere when the other one joined it: ``which``, and how far in cents."""

    which: str
    cents: float
    uncertainty_cents: float | None

    @property
    def in_words(self) -> str:
        """``together the lower note stood 12 ± 1 cents lower than alone``."""
        way = "higher" if self.cents > 0 else "lower"
        far = figures.cents(self.cents, self.uncertainty_cents)
        return _("together the %(which)s note stood %(far)s %(way)s than alone") % {
            "which": self.which,
            "far": far,
            "way": way,
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """A run that ended out of tune. Cents are signed, wide positive.

    ``word`` is the interval as drills name it (octaves); ``strings`` the pair that the drill
    writes, by the player's numbers, the lower string first.
    """

    run: int
    short: str
    word: str
    low: Pitch
    high: Pitch
    deviation_cents: float
    uncertainty_cents: float
    tolerance_cents: float
    severity: int
    slip: Slip | None = None
    strings: tuple[int, int] | None = None
    held_s: float | None = None
    least_hold_s: float | None = None

    @property
    def need(self) -> float:
        """How much it asks for: severity times the cents beyond the tolerance."""
        return self.severity * (abs(self.deviation_cents) - self.tolerance_cents)

    @property
    def pair(self) -> tuple[str, str]:
        """Its two notes as requests name them."""
        return str(self.low), str(self.high)

    @property
    def name(self) -> str:
        """``octave B♭3–B♭4``."""
        return f"{Interval.parse(self.short).everyday} {self.low.pretty}–{self.high.pretty}"

    @property
    def off(self) -> str:
        """``18 ± 1 cents wide``."""
        return standing(Interval.parse(self.short), self.deviation_cents, self.uncertainty_cents)

    @property
    def was_short(self) -> bool:
        """Whether its last playing was held for less than is needed to hear it."""
        return (
            self.held_s is not None
            and self.least_hold_s is not None
            and self.held_s < self.least_hold_s
        )


@dataclass(frozen=True, slots=True)
class Share:
    """Of ``judged`` runs, ``out`` ended out of tune."""

    out: int = 0
    judged: int = 0


def faults_of(
    judgement: Mapping,
    *,
    left_out: Collection[int] = (),
    strings: Mapping[str, tuple[int | None, ...]] | None = None,
) -> list[Fault]:
    """All faults of a clip, the greatest need first.

    ``left_out`` are marks that the teacher dropped; ``strings`` those that the drill's page
    writes, by id.
    """
    runs = {run["id"]: run for run in judgement["runs"]}
    marks = [mark for mark in judgement["marks"] if mark["id"] not in left_out]
    found = [_fault(mark, runs[mark["run"]], strings or {}) for mark in marks if _is_fault(mark)]
    known = [fault for fault in found if fault is not None]
    return sorted(known, key=lambda fault: (-fault.need, fault.run))


def shares_of(
    judgement: Mapping, faults: Iterable[Fault], within: Collection[int]
) -> dict[str, Share]:
    """By word: of the runs ``within`` that could be judged, how many are faults."""
    last = {row["event"]: row["verdict"] for row in reversed(judgement["intervals"])}
    out = {fault.run: fault.word for fault in faults}
    found: dict[str, Share] = {}
    for run in judgement["runs"]:
        word = out.get(run["id"]) or word_of_run(run)
        if run["id"] not in within or not word:
            continue
        if run["id"] not in out and last.get(_last_playing(run)) not in SURE_VERDICTS:
            continue
        before = found.get(word, Share())
        found[word] = Share(before.out + (run["id"] in out), before.judged + 1)
    return found


def word_of_run(run: Mapping) -> str | None:
    """The word for a run's interval; ``None`` where drills have none."""
    return word_of_size(Interval.parse(run["short"])) if run.get("short") else None


def to_tune_first(judgement: Mapping, runs: Collection[int]) -> str | None:
    """The open string, itself out of tune, beside which a run was marked."""
    for mark in judgement["marks"]:
        if mark["run"] in runs and mark["params"].get("open_off_cents") is not None:
            return str(mark["params"]["open"])
    return None


def are_open_strings(judgement: Mapping, runs: Collection[int]) -> bool:
    """Whether a marked run is of two open strings, which only tuning mends."""
    return any(
        mark["run"] in runs and mark["params"].get("move") == "neither"
        for mark in judgement["marks"]
    )


def _is_fault(mark: Mapping) -> bool:
    return (
        mark["code"] in CODES
        and mark["run"] is not None
        and mark["params"].get("open_off_cents") is None
        and mark["params"].get("move") != "neither"
    )


def _fault(mark: Mapping, run: Mapping, strings: Mapping) -> Fault | None:
    """``None`` where the notes have no names, or the interval no word."""
    params = mark["params"]
    if not params.get("low") or not params.get("high"):
        return None
    low, high = Pitch.parse(params["low"]), Pitch.parse(params["high"])
    word = word_of(low, high)
    if word is None:
        return None
    return Fault(
        run=run["id"],
        short=params["interval"],
        word=word,
        low=low,
        high=high,
        deviation_cents=params["deviation_cents"],
        uncertainty_cents=params["uncertainty_cents"],
        tolerance_cents=params["tolerance_cents"],
        severity=mark["severity"],
        slip=_slip(run, mark),
        strings=_neighbours(strings.get(run.get("score_ref") or "", ())),
        held_s=run.get("held_s"),
        least_hold_s=run.get("least_hold_s"),
    )


def _slip(run: Mapping, mark: Mapping) -> Slip | None:
    """The note that the mark says slipped; else the one that surely moved furthest then."""
    params = mark["params"]
    if params.get("because") == "slipped":
        return Slip(
            params["move"], params["slipped_cents"], params.get("slipped_uncertainty_cents")
        )
    moved = [
        remark["params"]
        for remark in run.get("remarks") or ()
        if remark["code"] == "note_moved" and remark["event"] in mark["events"]
    ]
    if not moved:
        return None
    most = max(moved, key=lambda params: abs(params["moved_cents"]))
    return Slip(most["which"], most["moved_cents"], most.get("uncertainty_cents"))


def _neighbours(strings: tuple[int | None, ...]) -> tuple[int, int] | None:
    if len(strings) != 2 or None in strings:
        return None
    low, high = int(strings[0] or 0), int(strings[1] or 0)
    return (low, high) if low - high == 1 else None


def _last_playing(run: Mapping) -> int | None:
    playings = run.get("playings") or run["events"]
    return playings[-1] if playings else None
