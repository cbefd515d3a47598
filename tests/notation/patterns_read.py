"""Drills read by others: what music21 finds in the page that is handed on, and whether a hand can
play it, by arithmetic of its own.

music21 reads our MusicXML; scales, keys and intervals are its own. Where nothing else is said, the
rules are common practice, no source.
"""

import random
import warnings
from collections.abc import Iterable, Iterator
from itertools import pairwise, product

from studio.notation import INTERVALS, Request, Score, Written
from studio.notation.manners import FIRST_BOWS, MANNERS, RHYTHMS, SLURS, STROKES
from studio.notation.musicxml import read_musicxml, to_musicxml
from studio.notation.request import CHORDS, FIRST_STEPS, MINOR_FORMS, PARTS, RESOLUTIONS
from studio.theory import ALL_KEYS, INSTRUMENTS
from tests.notation.accidentals_read import faults_of

WHERE = (None, (4, 3), (3, 2), (2, 1))
RANGES = (1, 2, 3)
FINGERBOARD_SEMITONES = 24
REACH_SEMITONES = 9  # first to fourth finger of a tenth; a hand in first position spans 5
OF_OPEN_STRINGS = (*FIRST_STEPS, "ringing_octaves")  # whatever the key


def every_pattern() -> Iterator[Request]:
    """Each pattern in every key, range, place and on both instruments, notes together."""
    for instrument, key in product(INSTRUMENTS, map(str, ALL_KEYS)):
        usual = {"instrument": instrument, "key": key, "manner": "together"}
        yield from (Request(**asked, **usual) for asked in _asked(key))


def _asked(key: str) -> Iterator[dict]:
    minor = MINOR_FORMS if "minor" in key else ("melodic",)
    for strings, octaves in product(WHERE, RANGES):
        where = {"strings": strings, "octaves": octaves}
        for interval in INTERVALS:
            for form in minor:
                yield {"interval": interval, "minor": form, **where}
            yield {"pattern": "chromatic", "interval": interval, **where}
            for chord in CHORDS:
                yield {"pattern": "arpeggio", "interval": interval, "chord": chord, **where}
        for pattern, form in product(("mixed", "fingered_octaves"), minor):
            yield {"pattern": pattern, "minor": form, **where}
    for strings in WHERE:
        yield {"pattern": "ringing_octaves", "strings": strings}
        for resolution in RESOLUTIONS:
            yield {"pattern": "resolutions", "resolution": resolution, "strings": strings}
        for interval in INTERVALS:
            yield {"pattern": "shifting", "interval": interval, "strings": strings}
    for string, octaves, form in product((1, 2, 3, 4), RANGES, minor):
        yield {"pattern": "one_string", "string": string, "octaves": octaves, "minor": form}
    for parts in PARTS:
        yield {"pattern": "chords", "parts": parts}
        for chord in CHORDS:
            yield {"pattern": "inversions", "parts": parts, "chord": chord}
    for finger in (1, 2, 3):
        yield {"pattern": "one_finger", "finger": finger}
    for pattern in FIRST_STEPS[1:]:
        yield {"pattern": pattern}


def overlaid(requests: Iterable[Request], chance: random.Random) -> Iterator[Request]:
    """Each in a manner, rhythm and bowing of chance."""
    for request in requests:
        yield request.but(
            manner=chance.choice(list(MANNERS)),
            rhythm=chance.choice(list(RHYTHMS)),
            slur=chance.choice(SLURS),
            first_bow=chance.choice(FIRST_BOWS),
            stroke=chance.choice(list(STROKES)),
            fingers_down=chance.random() < 0.3,
        )


def faults_of_drill(request: Request, score: Score, *, engraved: bool = True) -> list[str]:
    """What is wrong with a drill, in words; ``engraved`` looks at the signs that are drawn too."""
    page = to_musicxml(score)
    found = [*_misread(score, page), *_out_of_key(request, score), *_unplayable(score)]
    if read_musicxml(page.encode()).score != score:
        found.append("it is read back otherwise")
    if engraved:
        found += faults_of(score)
    return found


# -- what is on the page, by music21


def _misread(score: Score, page: str) -> Iterator[str]:
    from music21 import converter, spanner

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        part = converter.parse(page, format="musicxml").parts[0]
    read = list(part.flatten().notes)
    if len(read) != len(score.written):
        yield f"music21 reads {len(read)} of {len(score.written)} notes"
        return
    for item, element in zip(score.written, read, strict=True):
        names = sorted((p.midi, p.nameWithOctave.replace("-", "b")) for p in element.pitches)
        if [name for _, name in names] != [str(pitch) for pitch in item.pitches]:
            yield f"music21 reads {names} for {item.id}"
        if element.quarterLength != item.beats:
            yield f"music21 reads {element.quarterLength} quarters for {item.id}"
        notes = element.notes if element.isChord else [element]
        tied = [n.tie is not None and n.tie.type in ("stop", "continue") for n in notes]
        if sum(tied) != sum(item.tied):
            yield f"music21 reads other ties for {item.id}"
    slurs = list(part.recurse().getElementsByClass(spanner.Slur))
    began = sum(
        here.slurred and not before
        for before, here in zip(
            [False, *(item.slurred for item in score.written)], score.written, strict=False
        )
    )
    if len(slurs) != began:
        yield f"music21 reads {len(slurs)} slurs of {began}"


# -- the key, by music21


def _out_of_key(request: Request, score: Score) -> Iterator[str]:
    from music21 import key

    if request.pattern in OF_OPEN_STRINGS:
        return
    if request.pattern == "chromatic":
        yield from _not_chromatic(request, score)
        return
    tonic, mode = request.key.split()
    scale = key.Key(tonic.replace("b", "-"), mode)
    names = {pitch.name.replace("-", "b") for pitch in scale.pitches}
    if mode == "minor":
        names |= {_raised(pitch) for pitch in scale.pitches[5:7]}
    for item in score.written:
        for pitch in item.pitches:
            if pitch.pitch_class_name not in names:
                yield f"{pitch} of {item.id} is not in {request.key}"


def _raised(pitch) -> str:
    from music21 import interval

    return interval.Interval("A1").transposePitch(pitch).name.replace("-", "b")


def _not_chromatic(request: Request, score: Score) -> Iterator[str]:
    """One size throughout, that of the tonic; the lower notes a semitone apart."""
    from music21 import interval, pitch

    def named(name: str) -> pitch.Pitch:
        return pitch.Pitch(name.replace("b", "-"))

    double_stops = [item for item in score.written if len(item.pitches) == 2]
    sizes = set()
    for item in double_stops:
        low, high = (named(str(each)) for each in item.pitches)
        sizes.add(interval.Interval(low, high).name)
    if len(sizes) != 1 or int(sizes.copy().pop().lstrip("PMmAd")) != request.number:
        yield f"sizes {sorted(sizes)} for {request.interval}"
    for before, after in pairwise(double_stops):
        if abs(before.pitches[0].midi - after.pitches[0].midi) != 1:
            yield f"{before.id} and {after.id} are no semitone apart"


# -- the hand


def _unplayable(score: Score) -> Iterator[str]:
    for item in score.written:
        stops = _stops(item, score)
        where = [number for number in item.strings if number is not None]
        if len(where) != len(item.pitches) or any(a - b != 1 for a, b in pairwise(where)):
            yield f"{item.id} lies on strings {item.strings}"
        if not all(0 <= stop <= FINGERBOARD_SEMITONES for stop in stops):
            yield f"{item.id} has stops {stops}"
        if [stop == 0 for stop in stops] != [finger == 0 for finger in item.fingers]:
            yield f"{item.id} has fingers {item.fingers} at {stops}"
        yield from _crossed(item, stops)
    yield from _moves(score)


def _stops(item: Written, score: Score) -> list[int]:
    strings = score.player.open_strings
    return [
        pitch.midi - strings[len(strings) - number].midi
        for pitch, number in zip(item.pitches, item.strings, strict=True)
        if number is not None
    ]


def _crossed(item: Written, stops: list[int]) -> Iterator[str]:
    held = [(s, f) for s, f in zip(stops, item.fingers, strict=True) if s]
    for (stop, finger), (other_stop, other) in pairwise(held):
        if (finger == other) != (stop == other_stop) or (stop - other_stop) * (finger - other) < 0:
            yield f"{item.id} has fingers {item.fingers} at {stops}"
        if abs(stop - other_stop) > REACH_SEMITONES:
            yield f"{item.id} is wider than a tenth's reach"


def _moves(score: Score) -> Iterator[str]:
    """The hand has moved where a finger's place says so, and there only."""
    strings, hand = score.player.open_strings, None
    for item in score.written:
        places = [
            (finger, pitch.diatonic - strings[len(strings) - number].diatonic - finger + 1)
            for pitch, number, finger in zip(item.pitches, item.strings, item.fingers, strict=True)
            if finger and number
        ]
        first = {place for finger, place in places if finger == min(places)[0]}
        if places and item.manner != "separate" and item.position not in first:
            yield f"{item.id} is in position {first}, and {item.position} is written"
        if hand is not None and item.position is not None:
            moved = hand != item.position
            if moved and not item.shift and len(item.pitches) == 2:
                yield f"{item.id} is a shift that is not written"
        hand = item.position if item.position is not None else hand
