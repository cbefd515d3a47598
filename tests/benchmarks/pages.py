"""Pages from elsewhere, read here and by an independent reader: ``deploy/measure pages``.

    deploy/measure pages [--quick] [--files N] [--seed N]

The MusicXML files are those of music21's own corpus, which its package carries; they are opened
where they lie and named by a hash. Every part with notes is read here and by music21, and each note
that is to be followed is held against the other reader's: its bar (by its place and by its printed
number), its onset from the bar's beginning, its length with all that is tied to it, its pitch as it
sounds. Onsets are counted from the bar: music21 pads a short bar of one part where other parts have
a full one.

* **identical**: notes that both readers have, all of it alike, of all that either has.
* **said**: of the others, those in a bar that a remark names (quarter tones, cue notes, harmonics).
* **kept**: what a file has of each kind (rests, beams, slurs and so on), and how much of it the
  page has that is kept.
* **order**: parts with repeats whose order of bars is that of music21's ``expandRepeats``, of those
  that it expands. A closing sign without an opening one goes back to the last closing sign
  (common practice, no source); music21 goes back to the beginning.

Parts that differ are printed, and what they differ in. The last line is one JSON object.
"""

import argparse
import json
import random
import sys
import time
import warnings
from collections import Counter
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path
from xml.etree.ElementTree import Element, fromstring

from studio.notation.musicxml import NotMusic, read_musicxml, timed_notes
from studio.notation.musicxml.bars import bar_numbers, playing_order
from studio.notation.musicxml.lengths import make_plain
from studio.notation.musicxml.opening import open_musicxml
from studio.notation.musicxml.parts import only_part, parts_of
from studio.notation.musicxml.transposing import as_sounding
from studio.notation.musicxml.unfollowed import without_unfollowed
from tests.benchmarks.drills import corpus, name_of

QUICK = 10
PROGRESS = 25
KINDS = (
    *("rest", "beam", "tied", "slur", "tuplet", "fermata", "staccato", "accent", "tenuto"),
    *("up-bow", "down-bow", "fingering", "harmonic", "trill-mark", "tremolo", "grace", "cue"),
    *("dynamics", "wedge", "words", "rehearsal", "metronome", "octave-shift", "lyric", "repeat"),
    *("ending", "key", "time", "clef", "bar-style", "harmony", "measure", "dot", "stem"),
)
# Bar by its place and its number, onset in it, length (quarter notes), MIDI number.
Note = tuple[int, int, Fraction, Fraction, float]


def ours(data: bytes, part_id: str) -> tuple[Counter, set[int], list[int], bool]:
    """The notes that are to be followed, the bars that a remark names, the order of the bars, and
    whether the bars have the page's own numbers (that they do not is said)."""
    root = open_musicxml(data)
    part = only_part(root, part_id, None)
    numbers, own = bar_numbers(part)
    as_sounding(part)
    order = playing_order(part)
    timed_notes.seat(part)
    said = set[int]().union(*without_unfollowed(part, numbers).bars.values())
    noted = timed_notes.details(part)
    divisions = make_plain(part)
    starts = bar_starts(part, divisions)
    notes = Counter(
        (
            note.noted.measure,
            note.bar,
            note.start - starts[note.noted.measure],
            note.end - note.start,
            float(note.pitch.midi),
        )
        for note in timed_notes.timed(root, noted, divisions, numbers)
    )
    return notes, said, order, own


def bar_starts(part: Element, divisions: int) -> list[Fraction]:
    """Where each bar begins: behind all that the bar before it holds."""
    found, at = [], Fraction(0)
    for measure in part.findall("measure"):
        found.append(at)
        here = longest = Fraction(0)
        for element in measure:
            length = Fraction(int(element.findtext("duration") or 0), divisions)
            if element.tag == "backup":
                here -= length
            elif element.tag == "forward" or (
                element.tag == "note" and element.find("chord") is None
            ):
                here += length if element.find("grace") is None else 0
            longest = max(longest, here)
        at += longest
    return found


def theirs(streams: list) -> Counter:
    """The same by music21; of a part on several staves, each is a stream."""
    found = []
    for part in streams:
        held: dict[float, int] = {}  # by pitch: where a bar is padded, its end is not the next one
        sounding = part.toSoundingPitch()
        for place, measure in enumerate(sounding.getElementsByClass("Measure")):
            rows = sorted(_rows(measure), key=lambda row: (row[0], row[2]))
            for onset, length, midi, tie in rows:
                if tie in ("stop", "continue") and midi in held:
                    index = held.pop(midi)
                    found[index][3] += length
                else:
                    index = len(found)
                    found.append([place, measure.number, onset, length, midi])
                if tie in ("start", "continue"):
                    held[midi] = index
    return Counter(map(tuple, found))


def _rows(measure) -> Iterator[tuple[Fraction, Fraction, float, str | None]]:
    for element in measure.recurse().notes:
        if element.duration.isGrace or "Harmony" in element.classes:
            continue
        onset = _fraction(element.getOffsetInHierarchy(measure))
        length = _fraction(element.quarterLength)
        for note in element.notes if element.isChord else [element]:
            if hasattr(note, "pitch"):
                tie = note.tie  # of a chord, each note has its own
                yield onset, length, float(note.pitch.ps), tie.type if tie else None


def _fraction(value) -> Fraction:
    return Fraction(value).limit_denominator(10_000)


def kept(data: bytes, part_id: str) -> tuple[Counter, Counter]:
    """How many elements of each kind the part has, and how many the page that is kept."""
    part = next(part for part in open_musicxml(data).findall("part") if part.get("id") == part_id)
    page = fromstring(read_musicxml(data, part=part_id).score.page)
    return _kinds(part), _kinds(page)


def _kinds(tree: Element) -> Counter:
    counts = Counter(element.tag for element in tree.iter())
    return Counter({kind: counts[kind] for kind in KINDS if counts[kind]})


def look_at(path: Path, total: Counter, lost: Counter) -> None:
    from music21 import converter

    data = path.read_bytes()
    root = open_musicxml(data)
    staves = [_staves(part) for part in root.findall("part")]
    ids = [part.get("id", "") for part in root.findall("part")]
    streams = list(converter.parse(path, forceSource=True, format="musicxml").parts)
    if len(streams) != sum(staves):
        total["files of which music21 makes other parts"] += 1
        return
    for part in parts_of(root):
        place = ids.index(part.id)
        first = sum(staves[:place])
        mine, said, order, own = ours(data, part.id)
        other = theirs(streams[first : first + staves[place]])
        if not own:
            total["parts with bars counted through, said"] += 1
            mine, other = _without_numbers(mine), _without_numbers(other)
        both, differ = mine & other, (mine - other) + (other - mine)
        total.update(parts=1, notes=(mine | other).total(), identical=both.total())
        unsaid = Counter({note: n for note, n in differ.items() if note[1] not in said})
        total["said"] += (mine | other).total() - both.total() if not unsaid else 0
        total["identical parts"] += not unsaid
        if unsaid:
            few = [tuple(map(str, note)) for note in list(unsaid)[:3]]
            print(f"  {name_of(path)} {part.id}: {unsaid.total()} notes differ: {few}", flush=True)
        _order(streams[first], order, total, f"{name_of(path)} {part.id}")
        try:
            has, has_kept = kept(data, part.id)
        except NotMusic as error:
            total["parts refused"] += 1
            print(f"  {name_of(path)} {part.id} refused: {str(error)[:80]}", flush=True)
            continue
        total["elements"] += has.total()
        lost.update(has - has_kept)


def _without_numbers(notes: Counter) -> Counter:
    return Counter({(note[0], 0, *note[2:]): count for note, count in notes.items()})


def _staves(part: Element) -> int:
    return max((int(said.text or 1) for said in part.iter("staves")), default=1)


def _order(part, order: list[int], total: Counter, name: str) -> None:
    if order == sorted(set(order)) and len(order) == len(part.getElementsByClass("Measure")):
        return
    try:
        unfolded = part.expandRepeats()
    except Exception:  # what it finds incoherent it does not expand
        return
    total["parts with repeats"] += 1
    mine = [part.getElementsByClass("Measure")[place].number for place in order]
    same = mine == [measure.number for measure in unfolded.getElementsByClass("Measure")]
    total["order"] += same
    if not same:
        print(f"  {name}: its bars are played in another order", flush=True)


def measure(paths: list[Path]) -> tuple[Counter, Counter]:
    total, lost = Counter(identical=0, notes=0), Counter()
    for path in paths:
        total["files"] += 1
        if total["files"] % PROGRESS == 0:
            print(dict(total), file=sys.stderr, flush=True)
        try:
            look_at(path, total, lost)
        except NotMusic as error:
            total["refused"] += 1
            print(f"  {name_of(path)} refused: {str(error)[:90]}", flush=True)
    return total, lost


def main() -> None:
    words = __doc__.split("\n", 1)[0]
    parser = argparse.ArgumentParser(prog="deploy/measure pages", description=words)
    parser.add_argument("--quick", action="store_true", help="a few files")
    parser.add_argument("--files", type=int, help="so many, chosen at random")
    parser.add_argument("--seed", type=int, default=random.SystemRandom().randrange(10**6))
    asked = parser.parse_args()
    warnings.simplefilter("ignore")
    began = time.monotonic()
    paths = corpus()
    count = asked.files or (QUICK if asked.quick else len(paths))
    print(f"seed {asked.seed}")
    total, lost = measure(random.Random(asked.seed).sample(paths, min(count, len(paths))))
    share = total["identical"] / max(1, total["notes"])
    for name, value in total.items():
        print(f"{name}: {value}")
    print(f"identical: {share:.4%}; not on the page that is kept: {dict(lost) or 'nothing'}")
    figures = {"benchmark": "pages", "seed": asked.seed, "identical_share": round(share, 5)}
    figures |= {"lost": dict(lost), "seconds": round(time.monotonic() - began), **total}
    print(json.dumps(figures))


if __name__ == "__main__":
    main()
