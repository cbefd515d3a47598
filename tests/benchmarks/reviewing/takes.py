"""The demo's studio with more clips that wait: what its pupils play, made by the demo's own maker.

``PLAYED`` says what a made take may be: a drill of the demo's shelf, its interval and key, the
octave it begins in, how many double stops, and how many of them come right. The longer ones, badly
played, have more marks than a usual clip. Every ninth take has single notes alone, with a question.
"""

import dataclasses
import time
from pathlib import Path
from random import Random
from types import SimpleNamespace

from studio.accounts.models import Enrolment, Person, Studio
from studio.clips.models import Clip, Stage
from studio.demo import people, shelf
from studio.demo.history import Historian
from studio.demo.takes import WAITING, Take
from studio.drills.models import DrillVersion

SEED = 20261
PUPILS = ("jonas", "amara", "bea", "ida")
PLAYED = (
    {
        "drill": "b-flat-octaves",
        "interval": "octaves",
        "key": "Bb major",
        "octave": 3,
        "degrees": 6,
    },
    {"drill": "e-flat-sixths", "interval": "sixths", "key": "Eb major", "octave": 4, "degrees": 5},
    {"drill": "d-thirds", "interval": "thirds", "key": "D major", "octave": 4, "degrees": 6},
    {"drill": "g-octaves", "interval": "octaves", "key": "G major", "octave": 3, "degrees": 5},
    {
        "drill": "b-flat-octaves",
        "interval": "octaves",
        "key": "Bb major",
        "octave": 3,
        "degrees": 11,
    },
)
SKILLS = (0.15, 0.35, 0.5, 0.65, 0.85)
QUESTION_EVERY = 9
QUESTION = "Is my bow hand all right here?"


def fill(with_history: bool) -> Studio:
    """Into an empty database: the whole demo, or its people and drills alone."""
    from django.core.management import call_command

    if with_history:
        call_command("load_demo")
    else:
        cast = people.make_studio()
        shelf.fill(cast.studio, cast.teacher)
    return Studio.objects.order_by("pk").first()


def send(studio: Studio, many: int, folder: Path) -> list[Clip]:
    """As many clips that wait as were asked for, those of the demo first; each is new."""
    from sample_media import make

    there = list(Clip.objects.filter(enrolment__studio=studio, review__state="waiting"))
    wanted = list(WAITING)[: many if not there else 0]
    made = [_take(number) for number in range(many - len(there) - len(wanted))]
    historian = Historian(_cast(studio), _shelf(studio), _Maker(make), folder)
    return there + [historian.send(take).clip for take in wanted + made]


def wait_for(clips: list[Clip], at_most_s: float) -> None:
    """Until each of them is heard and can be played."""
    done = [Stage.DONE[kind] for kind in (Stage.Kind.LISTENING, Stage.Kind.PLAYBACK)]
    end = time.monotonic() + at_most_s
    stages = Stage.objects.filter(clip__in=clips).exclude(kind=Stage.Kind.SMALL)
    left = stages.exclude(state__in=done)
    while rows := list(left.values_list("clip__title", "kind", "state")):
        if time.monotonic() > end or any(state == Stage.State.FAILED for *_, state in rows):
            raise AssertionError(f"not prepared within {at_most_s:g} s: {rows[:5]}")
        time.sleep(1)


def _take(number: int) -> Take:
    rng = Random(f"{SEED} {number}")
    login, played = PUPILS[number % len(PUPILS)], PLAYED[number % len(PLAYED)]
    days = round(rng.uniform(0.05, 6.0), 2)
    if number % QUESTION_EVERY == QUESTION_EVERY - 1:
        title = f"the bow, {number + 1}"
        sample = f"single-notes-{number}"
        return Take(login, days, "third-finger-check", title, sample=sample, note=QUESTION)
    title = f"{played['interval'].capitalize()}, take {number + 1}"
    drill = played["drill"]
    made = {name: value for name, value in played.items() if name != "drill"}
    return Take(login, days, drill, title, skill=rng.choice(SKILLS), **made)


def _cast(studio: Studio) -> people.Cast:
    places = {
        pupil.login: Enrolment.objects.get(studio=studio, pupil__name=pupil.name)
        for pupil in people.PUPILS  # one of them has no address
    }
    return people.Cast(studio, Person.objects.get(email=people.address("teacher")), places)


def _shelf(studio: Studio) -> dict[str, DrillVersion]:
    versions = DrillVersion.objects.filter(drill__studio=studio)
    return {name: versions.get(title=text.title) for name, text in shelf.DRILLS.items()}


class _Maker(SimpleNamespace):
    """The sample maker, which also makes any number of takes of single notes."""

    def __init__(self, make):
        super().__init__(make=make, build_variation=make.build_variation)

    def build(self, name: str, folder: Path) -> Path:
        if not name.startswith("single-notes-"):
            return self.make.build(name, folder)
        seed = int(name.rsplit("-", 1)[1])
        plan = dataclasses.replace(self.make.SINGLE_NOTES, name=name, seed=seed)
        return self.make.build_plan(plan, folder)
