"""Every drill that can be asked for, read by others; and the signs of pages from elsewhere.

    deploy/measure drills [--quick] [--drills N] [--boxes N] [--pages N] [--seed N]

*Drills*: each pattern × interval × key × form of minor × instrument × range × place that can be
played, with the notes of each double stop together, separately first, and once more in an order,
rhythm and bowing of chance. music21 reads the page: the same notes, lengths, ties and slurs, in the
key by its own scales. Every double stop lies on neighbouring strings within a hand's reach, and our
own reader gives back the same drill. The signs in the SVG are held against what music21 asks for
(its ``makeAccidentals``, told bare pitches) and against what a player reads (``tests/notation``).

*Boxes*: of drills chosen at random (300 unless told), as phone, desk and paper show them, what
touches of fingers, position words, string letters, bar numbers, stems and notes, by a browser's
boxes.

*Pages*: the MusicXML files of music21's own corpus, which its package carries; they are opened
where they lie and named by a hash. Of each page that our reader takes: *lost* is a sign that the
file displays before a note that we have, and we do not draw; *misread* is a page on which a player
who knows only the clef and the drawn signs would play another note than is written. Counted apart
are signs of grace notes and of tied-on notes, and those that contradict the file's own pitch
(quarter tones among them).

What is drawn is read from the SVG by the glyphs' codes.
"""

import argparse
import hashlib
import json
import random
import sys
import time
import warnings
from collections import Counter
from collections.abc import Iterable, Iterator
from pathlib import Path

from studio.notation import Infeasible, Request, Score, generate
from studio.notation.accidentals import with_accidentals
from studio.notation.engraving import NotEngraved
from studio.notation.musicxml import NotMusic, read_musicxml, timed_notes
from studio.notation.musicxml.bars import bar_numbers
from studio.notation.musicxml.lengths import make_plain
from studio.notation.musicxml.moments import moments_of
from studio.notation.musicxml.opening import open_musicxml
from studio.notation.musicxml.parts import only_part
from studio.notation.musicxml.transposing import as_sounding
from studio.notation.musicxml.unfollowed import without_unfollowed
from studio.notation.score import SIGNS, Accidental
from tests.notation.accidentals_read import ALTERS, drawn, played, written
from tests.notation.glyph_boxes import collisions, random_drills
from tests.notation.patterns_read import every_pattern, faults_of_drill, overlaid

QUICK = {"drills": 40, "boxes": 20, "pages": 20}
BOXES = 300
CHROMIUM = "/usr/bin/chromium"
PROGRESS = 25  # so many between two words on standard error


def every_request(seed: int) -> Iterator[Request]:
    """Every pattern, each in the two usual manners and once more in those of chance."""
    for request in every_pattern():
        yield request
        yield request.but(manner="separately_then_together")
    yield from overlaid(every_pattern(), random.Random(seed))


def measure_drills(requests: Iterable[Request]) -> dict:
    count = Counter(faulty=0)
    for request in requests:
        count["asked"] += 1
        if count["asked"] % PROGRESS == 0:
            tell(count)
        try:
            score = generate(request)
        except Infeasible:
            continue
        count["drills"] += 1
        count[request.pattern] += 1
        count["notes"] += len(written(score))
        count["signs"] += sum(sign is not None for sign in _signs(score))
        faults = faults_of_drill(request, score)
        if faults:
            print(f"  {request.to_dict()}: {'; '.join(faults[:3])}", flush=True)
            count["faulty"] += 1
    return dict(count)


def _signs(score: Score) -> Iterator[Accidental | None]:
    for item in with_accidentals(score).written:
        yield from item.accidentals


def measure_boxes(count: int, seed: int) -> dict:
    from playwright.sync_api import sync_playwright

    counted = Counter(drills=0, touching=0, collisions=0)
    with sync_playwright() as running:
        browser = running.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        page = browser.new_page(viewport={"width": 1400, "height": 900})
        for request, score in random_drills(random.Random(seed), count):
            counted["drills"] += 1
            found = collisions(page, score)
            counted["touching"] += bool(found)
            counted["collisions"] += len(found)
            if found:
                print(f"  {request.to_dict()}: {found[:3]}", flush=True)
        browser.close()
    return dict(counted)


# -- pages from elsewhere


def corpus() -> list[Path]:
    """MusicXML files that the reader's package carries, in an order of their own."""
    from music21 import corpus as carried

    paths = [Path(path) for path in carried.getCorePaths()]
    found = [path for path in paths if path.suffix in (".mxl", ".xml", ".musicxml")]
    return sorted(found, key=name_of)


def name_of(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()[:10]


def measure_pages(paths: Iterable[Path]) -> dict:
    count = Counter()
    for path in paths:
        count["files"] += 1
        if count["files"] % PROGRESS == 0:
            tell(count)
        try:
            found = look_at(path.read_bytes())
        except (NotMusic, NotEngraved) as error:
            count["refused"] += 1
            print(f"  {name_of(path)} refused: {str(error)[:90]}", flush=True)
            continue
        count["pages"] += 1
        count["pages_with_signs"] += bool(found["displayed"])
        count.update({name: len(value) for name, value in found.items()})
        for name in ("lost", "misread"):
            if found[name]:
                count[f"pages_{name}"] += 1
                print(f"  {name_of(path)} {name}: {found[name][:4]}", flush=True)
    return dict(count)


def look_at(data: bytes) -> dict[str, list]:
    """Signs that a file displays, by what became of them on our page."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        moments, apart, keys = displayed(data)
        score = read_musicxml(data).score
    signs = drawn(score)
    found: dict[str, list] = {"displayed": [], "lost": [], "contradicting": [], "apart": apart}
    for item, notes in zip(score.written, moments, strict=True):
        for pitch, sign in notes:
            if SIGNS.get(sign) != pitch.alter:
                found["contradicting"].append((item.id, str(pitch), sign))
                continue
            found["displayed"].append(item.id)
            at = [n for p, n in zip(item.pitches, item.note_ids, strict=True) if p == pitch]
            if not any(ALTERS.get(signs.get(name, "")) == pitch.alter for name in at):
                found["lost"].append((item.id, str(pitch), sign))
    read = played(score, signs, keys)
    found["misread"] = [
        name
        for name, alter in written(score).items()
        if name in read and read[name] != alter and f'id="{name}"' in (score.page or f'id="{name}"')
    ]
    return found


def displayed(data: bytes) -> tuple[list, list, dict[int, int]]:
    """The signs in the file by the moment at which their note begins, those that are apart, and the
    number of sharps at the clef (below 0: of flats) by the bar that it holds from.

    A note is found again by the number that the reader counts it with.
    """
    root = open_musicxml(data)
    part = only_part(root, None, None)
    numbers, _ = bar_numbers(part)
    as_sounding(part)
    timed_notes.seat(part)
    keys = {
        number: int(fifths.text or 0)
        for number, measure in zip(numbers, part.findall("measure"), strict=True)
        for fifths in measure.iterfind("attributes/key/fifths")
    }
    shown = [(note.findtext("accidental") or "").strip() for note in part.iter("note")]
    without_unfollowed(part, numbers)
    notes = timed_notes.timed(root, timed_notes.details(part), make_plain(part), numbers)
    found, seen = [], set()
    for moment in moments_of(notes)[0]:
        found.append([(n.pitch, shown[n.noted.seat]) for n in moment.begins if shown[n.noted.seat]])
        seen |= {note.noted.seat for note in moment.begins}
    return found, [sign for seat, sign in enumerate(shown) if sign and seat not in seen], keys


def tell(count: Counter) -> None:
    print(" ".join(f"{name} {value}" for name, value in count.items()), file=sys.stderr)


def sample(items: list, count: int | None, seed: int) -> list:
    return items if count is None else random.Random(seed).sample(items, min(count, len(items)))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="a few of each")
    parser.add_argument("--drills", type=int, help="so many drills, chosen at random")
    parser.add_argument("--boxes", type=int, help="so many drills whose marks may not touch")
    parser.add_argument("--pages", type=int, help="so many pages, chosen at random")
    parser.add_argument("--seed", type=int, default=random.SystemRandom().randrange(10**6))
    asked = parser.parse_args()
    few = QUICK if asked.quick else {}
    print(f"seed {asked.seed}")
    began = time.monotonic()
    many = {"drills": asked.drills, "boxes": asked.boxes, "pages": asked.pages}
    many = {name: few.get(name) if value is None else value for name, value in many.items()}
    drills = sample(list(every_request(asked.seed)), many["drills"], asked.seed)
    pages = sample(corpus(), many["pages"], asked.seed)
    print("drills")
    figures = {"seed": asked.seed, "drills": measure_drills(drills)}
    print("boxes")
    figures["boxes"] = measure_boxes(many["boxes"] or BOXES, asked.seed)
    print("pages")
    figures["pages"] = measure_pages(pages)
    figures["seconds"] = round(time.monotonic() - began)
    for part in ("drills", "boxes", "pages"):
        print(part, " ".join(f"{name} {value}" for name, value in figures[part].items()))
    print(json.dumps(figures))


if __name__ == "__main__":
    main()
