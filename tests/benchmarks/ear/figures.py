"""The document of figures: everything that was heard, summed up."""

import platform
import subprocess
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from studio.intonation import ENGINE
from tests.benchmarks.ear import real_summary, summary, targets
from tests.benchmarks.ear.hearing import OURS
from tests.benchmarks.ear.run import Scores
from tests.benchmarks.ear.scoring import ClipScore
from tests.benchmarks.ear.summary import Figures

TITLES = {
    "a": "made to order",
    "b": "recorded notes",
    "c": "as phones send it",
    "d": "vibrato",
    "e": "whole clips",
}
LINES = ("line legato", "line detached", "line of recorded notes")


def document(scores: Scores) -> Figures:
    """Figures of everything but cost; no date or machine in it."""
    ours = scores.ours
    figures: Figures = {"real": real_figures(scores), "groups": {}}
    for letter, title in TITLES.items():
        clips = summary.grouped(ours.get(letter, []))
        rows = {name: summary.pair_row(_events(of)) for name, of in clips.items()}
        figures["groups"][letter] = {"title": title, "conditions": rows}
    played = [clip for letter in "abc" for clip in ours.get(letter, [])]
    # The clean half of c is in; its degraded twins ask for the same intervals again.
    kinds = summary.by_kind(played)
    figures["intervals"] = {kind: summary.pair_row(kinds[kind]) for kind in sorted(kinds)}
    figures["calibration"] = _calibration(scores)
    figures["moved"] = _moved(ours.get("c", []))
    figures["marks"] = _with_all(ours.get("e", []), summary.mark_row)
    figures["controls"] = _controls(ours.get("f", []))
    if scores.compared:
        figures["listeners"] = _listeners(scores.compared)
    figures["missing"] = scores.missing
    return figures


def real_figures(scores: Scores) -> Figures:
    """Figures of real playing, and when and by what they were made: they may be kept alone."""
    return {"date": _now(), **machine(), **real_summary.real(scores.real, OURS)}


def finish(figures: Figures, **about: Any) -> Figures:
    """Add targets, date, machine and what else is told of the run."""
    figures["targets"] = targets.reached(figures)
    return {"benchmark": "intonation", "date": _now(), **machine(), **about, **figures}


def _now() -> str:
    return datetime.now(UTC).strftime("%Y-%m-%d %H:%M UTC")


def machine() -> Figures:
    """Engine, commit, Python and processor."""
    root = Path(__file__).resolve().parents[3]
    asked = ["git", "-C", str(root), "rev-parse", "--short", "HEAD"]
    try:
        done = subprocess.run(asked, capture_output=True, text=True, check=False)
        commit = done.stdout.strip() or None
    except FileNotFoundError:
        commit = None
    cpu = Path("/proc/cpuinfo")
    names = [x for x in cpu.read_text().splitlines() if "model name" in x] if cpu.exists() else []
    processor = names[0].split(":")[1].strip() if names else platform.machine()
    return {
        "engine": ENGINE,
        "commit": commit,
        "python": platform.python_version(),
        "machine": f"{len(names) or 1} cores, {processor}",
    }


def _events(clips: Sequence[ClipScore]) -> list[Any]:
    return [event for clip in clips for event in clip.events]


def _with_all(clips: Sequence[ClipScore], row: Any) -> Figures:
    rows = {name: row(of) for name, of in summary.grouped(clips).items()}
    return {**rows, "all": row(clips)}


def _calibration(scores: Scores) -> Figures:
    """How often one and two stated deviations cover the error: sets a to e together, and each."""
    pairs = {letter: scores.ours.get(letter, []) for letter in "abcde"}
    together = [clip for clips in pairs.values() for clip in clips]
    rows = {letter: summary.pair_row(_events(clips)) for letter, clips in pairs.items()}
    rows["all"] = summary.pair_row(_events(together))
    kept = ("measured", "unsure", "within_1", "within_2")
    return {name: {key: row[key] for key in kept} for name, row in rows.items()}


def _moved(clips: Sequence[ClipScore]) -> Figures:
    by_change = summary.grouped(clips)
    clean = by_change.pop("clean", [])
    return {name: summary.shift_row(of, clean) for name, of in by_change.items()}


def _controls(clips: Sequence[ClipScore]) -> Figures:
    rows = _with_all(clips, summary.control_row)
    lines = [clip for clip in clips if clip.condition in LINES]
    rows["all lines"] = summary.control_row(lines)
    return rows


def _listeners(compared: dict[str, list[ClipScore]]) -> Figures:
    rows: Figures = {"all": {}, "by_condition": {}, "by_interval": {}}
    ours = summary.grouped(compared[OURS])
    for name, clips in compared.items():
        rows["all"][name] = summary.listener_row(clips)
    for condition in ours:
        heard_by = {name: summary.grouped(clips).get(condition) for name, clips in compared.items()}
        rows["by_condition"][condition] = {
            name: summary.listener_row(clips) for name, clips in heard_by.items() if clips
        }
    for kind in sorted(summary.by_kind(compared[OURS])):
        rows["by_interval"][kind] = {
            name: summary.listener_row(_only(clips, kind)) for name, clips in compared.items()
        }
    return rows


def _only(clips: Sequence[ClipScore], kind: str) -> list[ClipScore]:
    """The clips with the events of one kind alone."""
    return [
        ClipScore(
            clip.condition,
            clip.duration_s,
            clip.cpu_s,
            events=[event for event in clip.events if event.kind == kind],
        )
        for clip in clips
    ]
