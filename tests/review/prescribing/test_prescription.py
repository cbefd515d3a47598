"""Which drills treat what is out of tune at a place, in which order, and why."""

import random
import re
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from studio.intonation import Measurement, Policy, judge
from studio.notation import INTERVALS, Request, generate
from studio.review.prescribing.faults import Fault, Share, Slip, faults_of, shares_of, to_tune_first
from studio.review.prescribing.prescription import KINDS, MOST, Facts, OnShelf, propose
from studio.theory import (
    ALL_KEYS,
    Interval,
    Key,
    Pitch,
    instrument_named,
    interval_between,
    is_playable,
)
from tests.review.heard_clip import measurement


def judgement_of(stored: dict, **policy) -> dict:
    return judge(Measurement.from_dict(stored), Policy(**policy)).to_dict()


def fault(low: str, high: str, cents: float = 30.0, *, run: int = 0, **more) -> Fault:
    pitches = Pitch.parse(low), Pitch.parse(high)
    interval = interval_between(*pitches)
    known = {
        "short": interval.short,
        "word": next(word for word, number in INTERVALS.items() if number == interval.number),
        "deviation_cents": cents,
        "uncertainty_cents": 1.0,
        "tolerance_cents": 15.0,
        "severity": 2,
    }
    return Fault(run=run, low=pitches[0], high=pitches[1], **known | more)


def facts(*faults: Fault, key: str = "C major", **more) -> Facts:
    given_ = {"clip_faults": faults} | more
    return Facts(faults=faults, key=Key.parse(key), **given_)


OCTAVE = fault("C4", "C5")


# -- what is a fault -----------------------------------------------------------------------------


def test_faults_are_the_marked_runs_with_the_judgement_s_own_figures():
    found = faults_of(judgement_of(measurement()))
    assert [(f.name, f.off, f.severity) for f in found] == [
        ("octave E4–E5", "35 ± 1 cents narrow", 3 - 1),
        ("octave C4–C5", "30 ± 1 cents wide", 2),
    ]
    assert [round(f.need) for f in found] == [2 * 20, 2 * 15]


def test_shares_count_what_could_be_judged_and_leave_out_what_was_dropped():
    judgement = judgement_of(measurement())
    runs = {run["id"] for run in judgement["runs"]}
    assert shares_of(judgement, faults_of(judgement), runs) == {"octaves": Share(2, 3)}
    first = judgement["marks"][0]["id"]
    kept = faults_of(judgement, left_out={first})
    assert shares_of(judgement, kept, runs) == {"octaves": Share(1, 3)}


def test_nothing_is_proposed_for_what_is_in_tune_or_unsure():
    in_tune = measurement((("C4", 4.0, (2.0,)), ("D4", 12.0, (9.0,)), ("E4", 20.0, (15.5,))))
    doubtful = measurement()
    for event in doubtful["events"]:
        for interval in event["intervals"]:
            interval["unsure_reason"] = "too_short"
    for stored in (in_tune, doubtful):
        found = tuple(faults_of(judgement_of(stored)))
        assert found == ()
        assert propose(facts(*found)) == []


def test_beside_an_open_string_that_is_itself_out_nothing_is_proposed():
    judgement = judgement_of(measurement())
    judgement["marks"][0]["params"] |= {"open": "D", "open_off_cents": 12.0}
    run = judgement["marks"][0]["run"]
    assert run not in {f.run for f in faults_of(judgement)}
    assert to_tune_first(judgement, {run}) == "D"


def test_a_note_that_slipped_is_told_with_its_own_figures():
    judgement = judgement_of(measurement())
    slips = [mark["params"]["slipped_cents"] for mark in judgement["marks"]]
    found = sorted(faults_of(judgement), key=lambda f: f.run)
    assert [f.slip.cents for f in found] == pytest.approx(slips)
    assert found[0].slip.in_words == "together the upper note stood 30 ± 1 cents higher than alone"
    [these] = [p for p in propose(facts(found[0])) if p.kind == "these"]
    assert these.request.pairs == (("C4", "C5"),)
    assert found[0].slip.in_words in these.reason
    assert found[0].off in these.reason


# -- the rule ------------------------------------------------------------------------------------


def kinds(*args, **more) -> list[str]:
    return [proposal.name for proposal in propose(facts(*args, **more))]


def test_the_shortest_comes_first_and_the_shelf_is_never_left_out_for_its_length():
    assert kinds(OCTAVE) == ["open-octaves", "around-octaves"]
    slip = replace(OCTAVE, slip=Slip("lower", -12.0, 1.0))

    def shelf(double_stops):
        return {"shelf": {"octaves": OnShelf(7, "C major in octaves", double_stops)}}

    assert kinds(OCTAVE, **shelf(8)) == ["open-octaves", "around-octaves", "shelf-octaves"]
    assert kinds(slip, **shelf(32)) == ["these-octaves", "open-octaves", "shelf-octaves"]
    assert kinds(slip, **shelf(None)) == ["these-octaves", "open-octaves", "shelf-octaves"]
    assert kinds(slip, **shelf(1)) == ["shelf-octaves", "these-octaves", "open-octaves"]
    costs = [one.cost for one in propose(facts(slip))]
    assert costs == sorted(costs)


def test_of_two_intervals_each_gets_one_first_the_one_in_greater_need_before_the_other():
    sixth = fault("E4", "C5", 60.0, run=1, severity=3)
    assert kinds(OCTAVE, sixth) == ["open-sixths", "open-octaves", "around-sixths"]
    many = tuple(fault("C4", "C5", run=n) for n in range(2, 9))
    assert kinds(OCTAVE, sixth, clip_faults=(OCTAVE, sixth, *many))[0] == "open-octaves"


def test_what_was_held_too_short_is_held_longer():
    short = replace(OCTAVE, held_s=0.6, least_hold_s=1.0)
    slower = next(p for p in propose(facts(short)) if p.kind == "slower")
    assert slower.request.hold_s == 3.0
    assert "held for 0.6 s" in slower.reason


def test_several_places_out_are_gathered_and_a_whole_scale_is_proposed_where_it_is_spread():
    spread = [fault(f"{n}4", f"{n}5", run=i) for i, n in enumerate("DCE")]
    found = {p.kind: p for p in propose(facts(*spread))}
    assert found["these"].request.pairs == (("D4", "D5"), ("C4", "C5"), ("E4", "E5"))
    strings = [
        replace(f, word="octaves", low=Pitch.parse("C4"), high=Pitch.parse("C5")) for f in spread
    ]
    assert "scale" not in {p.kind for p in propose(facts(*strings))}
    one = facts(spread[1], clip_faults=tuple(spread), key="C major")
    assert [p.kind for p in propose(one)] == ["open", "around", "scale"]


def test_an_anchor_is_an_open_string_that_forms_just_this_interval_in_the_key():
    anchored = next(p for p in propose(facts(OCTAVE)) if p.kind == "open")
    assert anchored.label == "Against the open D, then here"
    assert anchored.request.pairs == (("D4", "D5"), ("C4", "C5"))
    # D flat major has none of the open strings.
    flat = fault("Db4", "Db5")
    assert "open" not in {p.kind for p in propose(facts(flat, key="Db major"))}
    # D4 may be the open string itself: there is an anchor already.
    assert "open" not in {p.kind for p in propose(facts(fault("D4", "D5")))}


def test_neighbours_stay_in_one_position_where_the_hand_can():
    third = propose(facts(fault("E4", "G4")))
    around = next(p for p in third if p.kind == "around")
    positions = {item.position for item in around.score.written if item.position is not None}
    assert len(positions) == 1
    assert around.label.endswith("in one position")
    assert ("E4", "G4") in around.request.pairs
    assert around.request.manner == "separately_then_together"


def test_two_notes_of_one_string_only_have_no_drill():
    assert propose(facts(fault("G3", "B3"), key="G major")) == []


def test_the_strings_of_the_drill_s_page_are_kept():
    written = fault("D5", "B5", strings=(3, 2))
    around = next(p for p in propose(facts(written)) if p.kind == "around")
    assert around.request.strings == (3, 2)
    assert {item.strings for item in around.score.written if len(item.pitches) == 2} == {(3, 2)}


# -- whatever was heard --------------------------------------------------------------------------

SIZES = ("P1", "m3", "M3", "P4", "P5", "m6", "M6", "P8", "m10", "M10")


def pair_in(key: Key, instrument: str, size: str, seed: int) -> tuple[Pitch, Pitch] | None:
    """Two notes of a key that form an interval on this instrument."""
    lowest = instrument_named(instrument).open_strings[0].midi
    notes = [key.spell(midi) for midi in range(lowest, lowest + 22)]
    found = [
        (low, high)
        for low in notes
        for high in [key.spell(low.midi + Interval.parse(size).semitones)]
        if key.contains(low) and key.contains(high) and high.diatonic >= low.diatonic
        if interval_between(low, high).short == size
        if is_playable(low.midi, high.midi, instrument_named(instrument).open_strings)
    ]
    return random.Random(seed).choice(found) if found else None


@st.composite
def anything(draw) -> Facts:
    key = draw(st.sampled_from(ALL_KEYS))
    instrument = draw(st.sampled_from(("violin", "viola")))
    faults = []
    for run in range(draw(st.integers(1, 5))):
        size = draw(st.sampled_from(SIZES))
        pair = pair_in(key, instrument, size, draw(st.integers(0, 99)))
        if pair is not None:
            off = draw(st.floats(18.0, 60.0)) * draw(st.sampled_from((-1, 1)))
            slip = draw(st.sampled_from((None, Slip("upper", 9.0, 1.0))))
            held = draw(st.sampled_from((None, 0.5)))
            more = {"slip": slip, "held_s": held, "least_hold_s": 1.0}
            severity = draw(st.integers(1, 3))
            low, high = map(str, pair)
            faults.append(fault(low, high, off, run=run, severity=severity, **more))
    shelf = {"octaves": OnShelf(1, "Octaves")} if draw(st.booleans()) else {}
    return facts(*faults, key=str(key), instrument=instrument, shelf=shelf)


@settings(max_examples=40)
@given(anything(), st.randoms())
def test_the_order_is_stable_three_at_most_and_the_figures_are_the_judgement_s(known, chance):
    found = propose(known)
    assert len(found) <= MOST
    assert len({proposal.name for proposal in found}) == len(found)
    assert bool(found) == bool(known.faults)
    shuffled = list(known.faults)
    chance.shuffle(shuffled)
    again = propose(replace(known, faults=tuple(shuffled), clip_faults=tuple(shuffled)))
    assert [(p.name, p.reason, p.request) for p in again] == [
        (p.name, p.reason, p.request) for p in found
    ]
    for proposal in found:
        assert proposal.kind in KINDS
        named = [f for f in known.faults if f.word == proposal.word and f.name in proposal.reason]
        assert any(f.off in proposal.reason for f in named)
        off = int(re.search(r"was (\d+) ± 1 cents", proposal.reason).group(1))
        assert off in {round(abs(f.deviation_cents)) for f in named}


@pytest.mark.parametrize("instrument", ["violin", "viola"])
@pytest.mark.parametrize("size", SIZES)
def test_what_is_proposed_can_be_played_in_every_key(instrument, size):
    heard = 0
    for seed, key in enumerate(ALL_KEYS):
        pair = pair_in(key, instrument, size, seed)
        if pair is None:
            continue
        heard += 1
        low, high = map(str, pair)
        one = fault(low, high, slip=Slip("lower", 8.0, 1.0), held_s=0.5, least_hold_s=1.0)
        spread = tuple(replace(one, run=n, low=Pitch.parse(low)) for n in range(3))
        found = propose(facts(one, clip_faults=spread, key=str(key), instrument=instrument))
        assert found, (size, str(key), pair)
        for proposal in found:
            assert Request.from_dict(proposal.request.to_dict()) == proposal.request
            assert generate(proposal.request) == proposal.score
            together = [it for it in proposal.score.written if len(it.pitches) == 2]
            assert {interval_between(*it.pitches).number for it in together} == {
                INTERVALS[proposal.word]
            }
            assert any(it.pitches == pair for it in together)
    assert heard >= 12
