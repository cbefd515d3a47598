"""What the pages about years cost: ``deploy/measure history [--quick]``.

A studio with 10,000 clips and 200 pupils. One of them has five years: 2,000 clips, 200,000 double
stops, 1,500 practice entries, 250 lesson notes, 300 drills. Every clip but the newest tenth is
returned, with six moments. (``--quick``: a tenth of all that.)

*Processor ms* is the time of this thread (``time.thread_time``) for a whole answer, the median of
20 requests after three that are not counted; *queries* are those of one. Bound: 60 ms.
"""

import argparse
import json
import random
import statistics
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import islice
from pathlib import Path

from .loading.serving import set_up

BOUND_MS, REQUESTS, WARM = 60.0, 20, 3
YEARS = 5
WORDS = (
    *("bow", "elbow", "upper", "lower", "note", "listen", "slowly", "thumb", "wrist", "lift"),
    *("still", "even", "ring", "open", "held"),
)
NAMES = ("octave D5–D6", "major sixth D5–B5", "minor third E5–G5", "tenth D4–F♯5", "octave E5–E6")
RARE = "periwinkle"
KINDS = ("intonation", "left_hand", "bow", "sound", "music", "well_done")


@dataclass(frozen=True, slots=True)
class Size:
    clips: int = 10_000
    pupils: int = 200
    of_one: int = 2_000
    stops: int = 100

    @property
    def share(self) -> float:
        return self.of_one / 2_000


def fill(size: Size) -> dict:
    """The studio; who asks for its pages, and the place of the pupil with the five years."""
    from django.utils import timezone

    from studio.drills import services as drills
    from tests.cast import make_cast

    cast, chance, now = make_cast(), random.Random(7), timezone.now()
    places = [cast.enrolment, *_places(cast, size.pupils - 1)]
    keys = ("G major", "E minor", "D major")
    made = [
        drills.add_drill(
            cast.studio, cast.teacher, title=f"Drill {n}", words="Hold each.", key=keys[n % 3],
            interval=("P8", "6", "3", "10")[n % 4],
        ).newest()
        for n in range(40)
    ]  # fmt: skip
    five = [now - timedelta(days=365.25 * YEARS * n / size.of_one) for n in range(size.of_one)]
    rest = size.clips - size.of_one
    year = [now - timedelta(days=365.25 * n / rest) for n in range(rest)]
    others = places[1:]
    plan = [(places[0], at) for at in five]
    plan += [(others[n % len(others)], at) for n, at in enumerate(year)]
    assignments = _assignments(cast, places, made, size, now)
    for some in _chunks(iter(plan), 500):
        _clips(some, assignments, size, chance, now)
    _rest(cast, places[0], size, now)
    return {"cast": cast, "place": places[0], "drill": made[0].drill_id}


def _places(cast, many: int) -> list:
    from studio.accounts.models import Person
    from tests.cast import enrol

    found = []
    for number in range(many):
        child = Person.objects.create(email=f"{number}@pupil.example", name=f"Pupil {number:03}")
        found.append(enrol(child, cast.studio, cast.teacher))
    return found


def _assignments(cast, places, versions, size: Size, now: datetime) -> dict[int, list]:
    from studio.drills.models import Assignment

    rows = []
    for place in places:
        many = int(300 * size.share) if place is places[0] else 8
        for n in range(many):
            at = now - timedelta(days=365 * YEARS * n / many if many > 8 else 7 * n)
            done = at + timedelta(days=6) if n >= 5 else None
            version = versions[n % len(versions)]
            rows.append(
                Assignment(
                    enrolment=place, version=version, set_by=cast.teacher, set_at=at,
                    published_at=at, done_at=done, due_on=(at + timedelta(days=9)).date(),
                )
            )  # fmt: skip
    found: dict[int, list] = {}
    for row in Assignment.objects.bulk_create(rows, batch_size=500):
        found.setdefault(row.enrolment_id, []).append(row)
    return found


def _chunks(items: Iterator, size: int) -> Iterator[list]:
    while some := list(islice(items, size)):
        yield some


def _said(chance: random.Random) -> str:
    words = [chance.choice(WORDS) for _ in range(12)]
    return " ".join([*words, RARE] if chance.random() < 0.0005 else words)


def _clips(plan, assignments, size: Size, chance: random.Random, now: datetime) -> None:
    import numpy as np

    from studio.clips.models import Clip, Listening, Stage
    from studio.progress.models import ClipFigures
    from studio.progress.playings import LAYOUT, ROW
    from studio.review.models import Return, ReturnedMoment, Review
    from studio.review.returning.moments import intervals_in, rows_of

    stops = [
        {"name": chance.choice(NAMES), "ref": "", "start_s": n, "end_s": n + 1.0, "begins_s": n}
        for n in range(size.stops)
    ]
    rows = np.zeros(size.stops, ROW)
    rows["short"] = np.array([b"P8", b"M6", b"m3", b"M10"])[np.arange(size.stops) % 4]
    rows["size"], rows["doubt"], rows["runs"] = np.abs(np.random.default_rng(3).normal(
        0, 12, size.stops)), 0.5, 1  # fmt: skip
    clips, reviews, returns, listenings, stages = [], [], [], [], []
    for place, at in plan:
        clip = Clip(
            enrolment=place, uploaded_by=place.pupil, title=_said(chance)[:60], created_at=at,
            intake="received", duration_s=120.0, has_video=True, has_audio=True,
        )  # fmt: skip
        clips.append(clip)
        stages += [Stage(clip=clip, kind=kind, state=state) for kind, state in Stage.DONE.items()]
        listenings.append(
            Listening(clip=clip, engine="1.0.0", options={}, input_sha256="0", measurement={})
        )
        answered = now - at > timedelta(days=36)
        reviews.append(
            Review(
                clip=clip, answers=chance.choice(assignments[place.pk]),
                state="returned" if answered else "waiting",
                summary=_said(chance) if answered else "",
                intervals=intervals_in({"stops": stops}) if answered else "",
            )
        )  # fmt: skip
    Clip.objects.bulk_create(clips)
    Stage.objects.bulk_create(stages, batch_size=500)
    Listening.objects.bulk_create(listenings)
    Review.objects.bulk_create(reviews)
    figures = []
    for review, listening in zip(reviews, listenings, strict=True):
        if review.state != "returned":
            continue
        moments = [
            {
                "type": "comment", "kind": KINDS[n], "start_s": 9.0 * n, "text": _said(chance),
                "heard": {"name": stops[n]["name"]}, "author": "Ottilie Brandt",
            }
            for n in range(6)
        ]  # fmt: skip
        at = review.clip.created_at + timedelta(days=2)
        snapshot = {"schema": 1, "summary": "", "moments": moments, "stops": stops, "drills": []}
        returns.append(
            Return(
                review=review, returned_by=review.clip.enrolment.teacher, returned_at=at,
                visible_at=at, read_at=at, told_at=at, snapshot=snapshot,
            )
        )  # fmt: skip
        figures.append(
            ClipFigures(
                clip=review.clip, listening=listening, layout=LAYOUT, generation=1,
                day=review.clip.created_at.date(), tuning="just", rows=rows.tobytes(),
            )
        )  # fmt: skip
    Return.objects.bulk_create(returns, batch_size=100)
    ClipFigures.objects.bulk_create(figures, batch_size=200)
    kept = [row for returned in returns for row in rows_of(returned)]
    ReturnedMoment.objects.bulk_create(kept, batch_size=500)


def _rest(cast, place, size: Size, now: datetime) -> None:
    from studio.drills.lessons.models import LessonNote
    from studio.drills.practice.models import PracticeEntry

    today = now.date()
    for many, model, day, says in (
        (int(1500 * size.share), PracticeEntry, "day", {"minutes": 25, "made_by": cast.pupil}),
        (int(250 * size.share), LessonNote, "held_on", {"text": "The thumb.", "shared_at": now}),
    ):
        if model is LessonNote:
            says["author"] = cast.teacher
        days = [today - timedelta(days=int(365 * YEARS * n / many)) for n in range(many)]
        model.objects.bulk_create([model(enrolment=place, **{day: on}, **says) for on in days])


def pages(made: dict) -> list[tuple[str, object, str]]:
    """Every page that is measured: its name, who asks, and its address."""
    cast, place = made["cast"], made["place"]
    history = f"/pupils/{place.pk}/history/"
    middle = "2024-03-03T12%3A00%3A00%2B00%3A00~clip~00000000-0000-0000-0000-000000000000"
    teacher = [
        ("history", history),
        ("history, far down", f"{history}?before={middle}"),
        ("history, a common word", f"{history}?q=elbow"),
        ("history, a rare word", f"{history}?q={RARE}"),
        ("history, no such word", f"{history}?q=nowhere+elbow"),
        ("history, an interval", f"{history}?interval=octaves"),
        ("history, a key", f"{history}?key=E+minor"),
        ("history, a drill", f"{history}?drill={made['drill']}"),
        ("history, a kind", f"{history}?kind=bow&q=thumb"),
        ("history, a period", f"{history}?since=2023-01-01&until=2023-03-01"),
        ("lesson notes", f"/pupils/{place.pk}/lessons/"),
        ("overview", "/overview/"),
        ("search, a common word", "/search/?q=elbow"),
        ("search, a rare word", f"/search/?q={RARE}"),
        ("search, no such word", "/search/?q=nowhere+elbow"),
        ("one drill for several", f"/drills/{made['drill']}/several/"),
    ]
    found = [(name, cast.teacher, address) for name, address in teacher]
    found.append(("history, the pupil’s", cast.pupil, "/history/"))
    return found


def measure(who, address: str) -> tuple[float, int]:
    """The processor time of a whole answer in ms, and its queries."""
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    from tests.cast import as_person

    client, spent = as_person(who), []
    for number in range(WARM + REQUESTS):
        begun = time.thread_time()
        answer = client.get(address)
        took = 1000 * (time.thread_time() - begun)
        assert answer.status_code == 200, (address, answer.status_code)
        if number >= WARM:
            spent.append(took)
    with CaptureQueriesContext(connection) as seen:
        client.get(address)
    return statistics.median(spent), len(seen)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="a tenth of everything")
    chosen = parser.parse_args()
    size = Size(1_000, 20, 200) if chosen.quick else Size()
    with tempfile.TemporaryDirectory(prefix="studio-history-") as folder:
        set_up(Path(folder) / "data")
        from django.conf import settings

        settings.ALLOWED_HOSTS = ["testserver"]
        made, found = fill(size), {}
        print(f"{'page':<28}{'proc. ms':>10}{'queries':>9}")
        for name, who, address in pages(made):
            spent, queries = measure(who, address)
            found[name] = {"processor_ms": round(spent, 1), "queries": queries}
            said = "" if spent <= BOUND_MS else "   NOT YET"
            print(f"{name:<28}{spent:>10.1f}{queries:>9}{said}", flush=True)
        reached = all(one["processor_ms"] <= BOUND_MS for one in found.values())
        print("reached" if reached else "not yet")
        print(json.dumps({"reached": reached, "clips": size.clips, "pages": found}))


if __name__ == "__main__":
    main()
