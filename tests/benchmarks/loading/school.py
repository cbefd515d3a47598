"""The large studio as a whole, made once and kept in a folder: a database and one recording.

The large studio has 10,000 clips and 200 pupils with three teachers; three small ones beside it
have sixty pupils and a thousand clips more, so that what belongs to one has to be found among all.
In a fifth, one pupil has five years of returned clips (:mod:`.five_years`).
"""

import hashlib
import random
import shutil
import sys
from dataclasses import dataclass
from pathlib import Path

SEED = 1
SMALL_HOUSES, SMALL_PUPILS, SMALL_CLIPS = 3, 20, 333
DRILLS = 150
MEDIA_BYTES = 6_000_000
MEDIA_PATH = "load/recording.mp4"
MADE_BY = 4  # goes up when what is made here changes: then it is made anew


@dataclass(frozen=True, slots=True)
class Size:
    clips: int = 10_000
    pupils: int = 200
    teachers: int = 3

    def name(self, kind: str) -> str:
        """Of the file in which such a studio is kept."""
        return f"studio-{self.clips}-{self.pupils}-{self.teachers}.{MADE_BY}.{kind}"


def write_recording(media: Path) -> None:
    """The recording that every clip shares: noise, since nobody looks at it here."""
    path = media / MEDIA_PATH
    if not path.exists():
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(random.Random(SEED).randbytes(MEDIA_BYTES))


def make(size: Size, media: Path) -> None:
    """Fill an empty database. Minutes; :func:`kept` spares them the next time."""
    from .clips import SharedFile, fill, set_drills
    from .five_years import fill_five_years
    from .lessons import plan_lessons
    from .patterns import fill_shelf, heard_patterns
    from .people import Registry, make_house

    chance = random.Random(SEED)
    registry = Registry(chance)
    write_recording(media)
    content = (media / MEDIA_PATH).read_bytes()
    stored = SharedFile(MEDIA_PATH, hashlib.sha256(content).hexdigest(), len(content))
    houses = [(make_house("The large studio", size.pupils, size.teachers, registry), size.clips)]
    for number in range(SMALL_HOUSES):
        house = make_house(f"Studio {number + 2}", SMALL_PUPILS, 1, registry)
        houses.append((house, min(SMALL_CLIPS, size.clips)))
    patterns = heard_patterns(houses[0][0].places[0])
    for house, clips in houses:
        versions = fill_shelf(house, DRILLS)
        assignments = set_drills(house.places, versions, chance)
        fill(house.places, clips, patterns, assignments, stored, chance, _say)
        plan_lessons(house)
    fill_five_years(registry, SEED)


def keep(database: Path, place: Path) -> None:
    """Put a finished database aside, whole or not at all."""
    part = place.with_suffix(".part")
    shutil.copyfile(database, part)
    part.replace(place)


def _say(words: str) -> None:
    print(words, file=sys.stderr, flush=True)
