"""The ledger: what was heard, in the order played, run by run.

A *block* is one place in the ledger: a run of a double stop with its playings and its broken
notes, a chord, or a stretch of single notes that belong to no run. Marks and comments stand in
the block whose moment they are about.

What the judgement alone says is worked out once for each judgement and shared; marks and comments
are put into copies.
"""

from bisect import bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import replace
from weakref import WeakKeyDictionary

from django.utils.translation import gettext as _

from studio import figures
from studio.intonation.model.judgement import CLOSE_TO_LIMIT
from studio.review.marks.judging import Heard, Judged
from studio.review.marks.mark import Mark
from studio.review.models import Comment, HandMark

from . import ledger_html, words
from .blocks import Block, Lift, Row, lift

BEFORE_S = 0.05  # a comment made just before an onset is about the note that follows


def blocks_of(
    judged: Judged | None, comments: Iterable[Comment], by_hand: Iterable[HandMark] = ()
) -> list[Block]:
    """The whole ledger in time order. The first block, ``whole``, is about the clip itself."""
    blocks = [Block("whole", "whole", 0.0, 0.0)]
    if judged is not None:
        shared = shared_blocks(judged.heard)
        blocks += [replace(block, marks=[], kept=[], comments=[], by_hand=[]) for block in shared]
        _put_marks(blocks, judged.marks)
        for decision in judged.unmatched:
            block_at(blocks, decision.start_s).kept.append(decision)
    for comment in comments:
        block_at(blocks, comment.start_s).comments.append(comment)
    for hand_mark in by_hand:
        block_at(blocks, hand_mark.start_s).by_hand.append(hand_mark)
    return blocks


def block_at(blocks: Sequence[Block], seconds: float) -> Block:
    """The block that a moment belongs to: the last that has begun, else that of the whole clip."""
    after = bisect_right(blocks, seconds + BEFORE_S, lo=1, key=lambda block: block.start_s)
    return blocks[after - 1]


def in_written_order(blocks: Sequence[Block], written: Sequence[str]) -> list[Block]:
    """Blocks in the order of a drill's page; what is not written there stays where it was played.

    ``written`` holds the ids of what is written, in order.
    """
    places = {ref: place for place, ref in enumerate(written)}
    at, keyed = -1, []
    for block in blocks:
        at = places.get(block.ref, at)
        keyed.append((at, block))
    return [block for _rest, block in sorted(keyed, key=lambda pair: pair[0])]


_SHARED: WeakKeyDictionary[Heard, list[Block]] = WeakKeyDictionary()


def shared_blocks(heard: Heard) -> list[Block]:
    """The blocks as the judgement has them, kept as long as the judgement itself is."""
    found = _SHARED.get(heard)
    if found is None:
        found = _Reader(heard).blocks()
        for block in found:
            block.markup = ledger_html.block(block)
            block.alone = ledger_html.alone(block)
        _SHARED[heard] = found
    return found


def _put_marks(blocks: list[Block], marks: Sequence[Mark]) -> None:
    """Each mark to the block of its last event; one about the instrument is about the clip."""
    if not marks:
        return
    homes = {row.event: block for block in blocks for row in (*block.rows, *block.singles)}
    for mark in marks:
        home = homes.get(mark.events[-1]) if mark.events else None
        if mark.code.startswith("open_string"):
            home = blocks[0]
        (home or block_at(blocks, mark.start_s)).marks.append(mark)


class _Reader:
    """Puts a measurement's events and a judgement's figures together."""

    def __init__(self, heard: Heard):
        self.events = {event["id"]: event for event in heard.measurement["events"]}
        self.judgement = heard.judgement
        self.policy = self.judgement["policy"]
        self.intervals: dict[int, list[dict]] = {}
        for interval in self.judgement["intervals"]:
            self.intervals.setdefault(interval["event"], []).append(interval)
        self.singles = {single["event"]: single for single in self.judgement["singles"]}
        self.marks = {mark["run"]: mark for mark in self.judgement["marks"]}

    def blocks(self) -> list[Block]:
        runs = [self._run(run) for run in self.judgement["runs"] if self._playings(run)]
        taken = {pk for run in self.judgement["runs"] for pk in run["events"]}
        loose = [event for pk, event in self.events.items() if pk not in taken]
        chords = [self._chord(event) for event in loose if len(event["voices"]) > 1]
        blocks = sorted(runs + chords, key=lambda block: block.start_s)
        return self._with_singles(blocks, [e for e in loose if len(e["voices"]) == 1])

    def _playings(self, run: dict) -> list[int]:
        together = run.get("playings")
        if together:
            return [pk for pk in together if pk in self.events]
        pairs = [pk for pk in run["events"] if pk in self.events]
        return [pk for pk in pairs if len(self.events[pk]["voices"]) > 1]

    def _run(self, run: dict) -> Block:
        rows = [self._row(self.events[pk]) for pk in self._playings(run)]
        together = {row.event for row in rows}
        rows[-1].last = True
        events = [self.events[pk] for pk in run["events"] if pk in self.events]
        return Block(
            key=f"b{rows[0].event}",
            kind="run",
            start_s=min(event["start_s"] for event in events),
            end_s=max(event["end_s"] for event in events),
            name=self._run_name(rows),
            ref=run.get("score_ref") or "",
            rows=rows,
            singles=[self._row(event) for event in events if event["id"] not in together],
            lift=self._lift(rows),
            trend=self._trend(run, rows),
            said=self._said(run),
            broken=figures.signed(run["broken_cents"])
            if run.get("broken_cents") is not None
            else "",
        )

    def _run_name(self, rows: Sequence[Row]) -> str:
        """The double stop's name, though its last playing may have been heard as one note."""
        together = [row for row in rows if row.voices > 1]
        return (together or rows)[-1].name

    def _chord(self, event: dict) -> Block:
        row = self._row(event)
        row.last = True
        kind = "run" if len(event["voices"]) == 2 else "chord"
        return Block(
            f"b{event['id']}",
            kind,
            row.start_s,
            row.end_s,
            row.name,
            rows=[row],
            lift=self._lift([row]),
        )

    def _with_singles(self, blocks: list[Block], singles: list[dict]) -> list[Block]:
        """Single notes that belong to no run: one block for each stretch between two runs."""
        starts = [block.start_s for block in blocks]
        stretches: dict[int, list[dict]] = {}
        for event in singles:
            stretches.setdefault(bisect_right(starts, event["start_s"]), []).append(event)
        for notes in stretches.values():
            rows = [self._row(event) for event in notes]
            first, last = rows[0], rows[-1]
            key = f"b{first.event}"
            blocks.append(Block(key, "singles", first.start_s, last.end_s, singles=rows))
        return sorted(blocks, key=lambda block: block.start_s)

    def _row(self, event: dict) -> Row:
        row = Row(
            event=event["id"],
            start_s=event["start_s"],
            end_s=event["end_s"],
            clock=figures.place(event["start_s"], 1),
            name=self._name(event),
            voices=len(event["voices"]),
        )
        judged = self.intervals.get(event["id"], [])
        if judged:
            self._figure(row, event, judged[0])
            others = [f"also {self._short_figure(other)}" for other in judged[1:]]
            row.also = (*self._ended(event, judged[0]), *others)
        elif event["id"] in self.singles:
            single = self.singles[event["id"]]
            row.deviation, row.verdict = (
                figures.signed(single["deviation_cents"]),
                single["verdict"],
            )
            row.plus_minus = figures.plus_minus(event["voices"][0]["uncertainty_cents"])
        elif event.get("doubt"):
            row.verdict, row.reason = "unsure", words.unsure(event["doubt"])
        return row

    def _figure(self, row: Row, event: dict, interval: dict) -> None:
        row.verdict = interval["verdict"]
        row.deviation = figures.signed(interval["deviation_cents"])
        if interval["deviation_cents"] is not None:
            uncertainty = self._uncertainty(event, interval)
            row.plus_minus = figures.plus_minus(uncertainty)
            if interval["unsure_reason"] in (None, CLOSE_TO_LIMIT):
                row.cents, row.uncertainty_cents = interval["deviation_cents"], uncertainty
        if row.verdict == "unsure":
            row.reason = words.unsure(interval["unsure_reason"])

    def _heard(self, event: dict, interval: dict) -> dict:
        pair = interval["low"], interval["high"]
        return next((h for h in event["intervals"] if (h["low"], h["high"]) == pair), {})

    def _uncertainty(self, event: dict, interval: dict) -> float | None:
        return self._heard(event, interval).get("uncertainty_cents")

    def _ended(self, event: dict, interval: dict) -> tuple[str, ...]:
        """Where the interval ended, if it surely was not where it was on average."""
        ended, target = self._heard(event, interval).get("end_size_cents"), interval["target_cents"]
        if ended is None or target is None:
            return ()
        return (_("it ended at %(ended)s c") % {"ended": figures.signed(ended - target)},)

    def _short_figure(self, interval: dict) -> str:
        return f"{_everyday(interval)} {figures.signed(interval['deviation_cents'])} c"

    def _name(self, event: dict) -> str:
        judged = self.intervals.get(event["id"], [])
        voices = event["voices"]
        pitches = [voice["pitch"] for voice in voices]
        if len(voices) == 1:
            single = self.singles.get(event["id"])
            return words.pitch(single["pitch"] if single else pitches[0])
        if judged and len(voices) == 2:
            low = judged[0].get("low_pitch") or pitches[0]
            high = judged[0].get("high_pitch") or pitches[1]
            return f"{_everyday(judged[0])} {words.pitch(low)}–{words.pitch(high)}"
        return "chord " + "–".join(words.pitch(pitch) for pitch in pitches)

    def _lift(self, rows: Sequence[Row]) -> Lift | None:
        figures = []
        tolerance = None
        for row in rows:
            for interval in self.intervals.get(row.event, [])[:1]:
                uncertainty = self._uncertainty(self.events[row.event], interval)
                unsure = interval["verdict"] == "unsure"
                if interval["deviation_cents"] is not None:
                    figures.append((interval["deviation_cents"], uncertainty, unsure))
                if interval["target_cents"] is not None:
                    tolerance = tolerance_of(self.policy, interval["short"])
        return lift(figures, tolerance) if figures else None

    def _trend(self, run: dict, rows: Sequence[Row]) -> str:
        """``closer by 22 ±1 c``: better or worse, and by how much."""
        if len(rows) < 2 or run["trend"] is None:
            return ""
        way = words.TREND_WORDS.get(run["trend"], run["trend"])
        doubt = run.get("change_uncertainty_cents")
        if run["trend"] == "same" or doubt is None:
            return way
        return f"{way} by {figures.cents_short(run['change_cents'], doubt)}"

    def _said(self, run: dict) -> list[str]:
        """The run's remarks, but for what its figures show and what its mark says already."""
        mark = self.marks.get(run["id"])
        told = {"run_changed", mark["code"] if mark else ""}
        if mark and mark["params"].get("because") == "slipped":
            told.add("note_moved")
        remarks = run.get("remarks") or ()
        return [remark["sentence"] for remark in remarks if remark["code"] not in told]


def tolerance_of(policy: dict, short: str) -> float | None:
    """The policy's tolerance in cents for an interval's short name."""
    return (policy.get("tolerance_cents") or {}).get(short)


def _everyday(interval: dict) -> str:
    """``octave`` rather than ``perfect octave``: so it is said in lessons."""
    return interval["name"].removeprefix("perfect ")
