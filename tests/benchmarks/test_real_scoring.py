"""The definitions of real playing, on answers made by hand; and the labels, which fit the sound."""

import json
import sys
from types import SimpleNamespace

import numpy as np
import pytest

from studio.intonation.model.measurement import Event, HeardInterval, Voice, kind_of
from tests.benchmarks.ear import phase_reader, real, real_summary, real_table
from tests.benchmarks.ear.hearing import HeardNote, frames_of
from tests.benchmarks.ear.material import SR
from tests.benchmarks.ear.real import Labels, Span
from tests.benchmarks.ear.real_scoring import (
    MovementScore,
    PairScore,
    SingleScore,
    Stretch,
    score_movement,
    score_pair,
    score_single,
    stretches_of_events,
    stretches_of_frames,
)

PAIR = Span(1.0, 1.4, (69, 73), 442.0, struck=2)
LOW, HIGH = PAIR.f0s_hz


def off(hz, cents):
    return hz * 2.0 ** (cents / 1200.0)


def event(start_s, end_s, *f0s_hz, stated=0.4):
    voices = tuple(Voice(69, "A4", f, stated) for f in f0s_hz)
    intervals = (HeardInterval(0, 1, 400.0, stated),) if len(f0s_hz) > 1 else ()
    return Event(0, kind_of(len(f0s_hz)), start_s, end_s, voices, intervals)


def found(*events, label=PAIR):
    return score_pair(label, stretches_of_events(events), []).found


@pytest.mark.parametrize(
    ("events", "expected"),
    [
        ([event(0.9, 1.151, off(LOW, 59), off(HIGH, -59))], True),
        ([event(0.9, 1.149, LOW, HIGH)], False),
        ([event(1.0, 1.08, LOW, HIGH), event(1.2, 1.28, LOW, HIGH)], True),
        ([event(1.0, 1.4, LOW, off(HIGH, 61))], False),
        ([event(1.0, 1.4, LOW, HIGH, 3 * LOW)], False),
        ([event(1.0, 1.4, LOW)], False),
        ([event(1.4, 2.0, LOW, HIGH)], False),
        ([], False),
    ],
    ids=[
        "long_enough",
        "too_short",
        "in_two_parts",
        "off_pitch",
        "one_more",
        "one_less",
        "after",
        "none",
    ],
)
def test_a_pair_is_found_when_exactly_its_notes_last_for_long_enough(events, expected):
    assert found(*events) is expected


@pytest.mark.parametrize(("lasts_s", "expected"), [(0.11, True), (0.09, False)])
def test_half_of_a_span_shorter_than_0_3_s_is_enough(lasts_s, expected):
    short = Span(1.0, 1.2, (69, 73), 442.0, struck=2)
    assert found(event(1.0, 1.0 + lasts_s, LOW, HIGH), label=short) is expected


def test_a_found_pair_is_unsure_when_its_longest_event_has_no_measured_interval():
    sure, unsure = event(1.0, 1.1, LOW, HIGH), event(1.1, 1.4, LOW, HIGH, stated=None)
    assert score_pair(PAIR, stretches_of_events([sure, unsure]), []).unsure
    assert not score_pair(PAIR, stretches_of_events([sure]), []).unsure


def test_frames_tell_both_pitches_whatever_else_and_exactly_these():
    notes = [HeardNote(1.0, 1.3, LOW), HeardNote(1.1, 1.4, HIGH), HeardNote(1.2, 1.4, 3 * LOW)]
    frames = frames_of(notes, 2.0)
    pair = score_pair(PAIR, stretches_of_frames(frames), frames)
    assert pair.frames == 40
    assert pair.frames_found == pytest.approx(20, abs=1)
    assert pair.frames_exactly == pytest.approx(10, abs=1)
    assert not pair.found


def test_frames_with_the_same_pitches_are_one_stretch():
    frames = [np.zeros(0), np.array([440.0]), np.array([440.0]), np.array([440.0, 550.0])]
    assert stretches_of_frames(frames) == [
        Stretch(0.01, 0.03, (440.0,)),
        Stretch(0.03, 0.04, (440.0, 550.0)),
    ]


def test_false_is_the_share_of_the_single_line_with_two_notes_or_more():
    labels = Labels((), (), ((0.0, 1.0), (2.0, 3.0)))
    events = [event(0.5, 1.5, LOW, HIGH), event(2.0, 3.0, LOW), event(2.9, 3.5, 1.0, 2.0, 3.0)]
    frames = frames_of([HeardNote(0.0, 0.305, LOW), HeardNote(0.1, 0.405, HIGH)], 4.0)
    score = MovementScore("x", "player-a", 4.0)
    score_movement(score, labels, stretches_of_events(events), frames)
    row = real_summary.line_row([score])
    assert row["seconds"] == 2.0
    assert row["false"] == pytest.approx(0.3)
    assert row["frames_false"] == pytest.approx(21 / 200)


def pair_score(length_s=0.4, struck=2, check="ok", semitones=4, is_found=True):
    label = Span(1.0, 1.0 + length_s, (60, 60 + semitones), 440.0, check, struck)
    return PairScore(label, is_found, False, 40, 20, 10)


@pytest.mark.parametrize(
    ("pair", "groups"),
    [
        (pair_score(), {real_summary.LONG, "both struck, check ok"}),
        (pair_score(0.3), {real_summary.SHORTER, "both struck, check ok"}),
        (pair_score(struck=1), {"one held over", "one held over, check ok"}),
        (pair_score(check="weak_voice"), set()),
        (pair_score(check="octave_unverified", semitones=12), {"octaves, both struck"}),
        (pair_score(check="off", semitones=7), set()),
        (
            pair_score(check="likely", semitones=7),
            {real_summary.LONG, "both struck, check likely", "fifths, both struck"},
        ),
    ],
)
def test_pairs_are_told_by_who_is_struck_by_check_and_by_length(pair, groups):
    score = MovementScore("x", "player-a", 4.0, pairs=[pair])
    assert set(real_summary.pair_rows([score])) == groups


def test_the_interval_of_a_share_is_wilsons():
    """Newcombe 1998, *Statistics in Medicine* 17, 857-872, table I: 81 of 263, 15 of 148, 1 of 29,
    method 3 (from memory)."""
    told = {(81, 263): (0.2553, 0.3662), (15, 148): (0.0624, 0.1605), (1, 29): (0.0061, 0.1718)}
    for (hits, of), interval in told.items():
        assert real_summary.wilson(hits, of) == pytest.approx(interval, abs=5e-5)
    assert real_summary.wilson(0, 20) == pytest.approx((0.0, 0.1611), abs=5e-5)


def test_another_listener_is_asked_at_our_false_share():
    points = [{"found": 0.8, "false": 0.2}, {"found": 0.4, "false": 0.1}]
    for false, expected in ((0.05, 0.2), (0.1, 0.4), (0.15, 0.6), (0.5, 0.8)):
        assert real_summary.at_share(points, "found", "false", {"false": false}) == expected


def movement(pairs_found, false_s, setting="", cpu_s=1.0):
    pairs = [pair_score(is_found=n < pairs_found) for n in range(10)]
    line = {"line_s": 10.0, "false_s": false_s, "line_frames": 1000}
    return MovementScore(
        "x",
        "player-a",
        40.0,
        cpu_s,
        setting,
        pairs=pairs,
        false_frames=round(100 * false_s),
        **line,
    )


def test_the_lead_is_over_the_best_of_the_others_at_our_false_share():
    scores = {
        "ours": [movement(6, 0.1)],
        "Basic Pitch": [movement(8, 0.4, "usual", 2.0), movement(4, 0.2, "strict")],
        "Klapuri": [movement(9, 1.0)],
    }
    figures = real_summary.real(scores, "ours")
    assert figures["listeners"]["Basic Pitch"]["at_false"] == pytest.approx(0.2)
    assert figures["listeners"]["Klapuri"]["at_false"] == pytest.approx(0.09)
    assert figures["lead"]["found"] == pytest.approx(0.4)
    assert figures["lead"]["speed"] == 2.0
    assert [point["found"] for point in figures["curves"]["Basic Pitch"]] == [0.8, 0.4]
    json.dumps(figures, allow_nan=False)
    for _, columns, rows in real_table.parts(figures):
        assert all(set(row) >= set(columns) for row in rows.values())


def test_coverage_is_by_the_stated_deviation_of_notes_the_reader_is_sure_of():
    label = Span(1.0, 2.0, (69,), 440.0)
    told = [
        SingleScore(label, "heard", 0.5, 0.6, 0.2),
        SingleScore(label, "heard", -1.0, 0.6, 0.2),
        SingleScore(label, "heard", 3.0, 1.0, 3.0),
        SingleScore(label, "heard", 80.0, None, 0.2),
        SingleScore(label, "other"),
    ]
    row = real_summary.single_row([MovementScore("x", "player-a", 4.0, singles=told)])
    assert (row["notes"], row["compared"], row["sure"], row["told"]) == (5, 4, 2, 3)
    assert (row["within_1"], row["within_2"]) == (0.5, 1.0)
    assert row["joined_within_1"] == pytest.approx(2 / 3, abs=1e-4)
    assert (row["gross"], row["unsure"], row["median_c"]) == (0.25, 0.25, 1.0)


# --- the reader -------------------------------------------------------------------------------


def tone(hz, length_s=1.0, vibrato_cents=0.0):
    at = np.arange(round(length_s * SR)) / SR
    turned = np.cumsum(hz * 2.0 ** (vibrato_cents / 1200.0 * np.sin(2 * np.pi * 5.5 * at))) / SR
    return sum(np.sin(2 * np.pi * k * turned + k) / k for k in range(1, 8))


@pytest.mark.parametrize("hz", [196.0, 441.3, 1318.5])
@pytest.mark.parametrize("length_s", [0.4, 1.0])
def test_the_reader_reads_a_steady_note_to_two_hundredths_of_a_cent(hz, length_s):
    y = np.concatenate([np.zeros(SR // 4), tone(hz, length_s), np.zeros(SR // 4)])
    reading = phase_reader.read(y, SR, off(hz, 45.0), 0.25, 0.25 + length_s)
    assert reading.f0_hz == pytest.approx(hz, rel=1e-5)
    assert reading.error_cents < 0.05


def test_the_reader_reads_the_middle_of_a_vibrato():
    reading = phase_reader.read(tone(440.0, 1.2, 15.0), SR, 440.0, 0.0, 1.2)
    assert abs(1200.0 * np.log2(reading.f0_hz / 440.0)) < 0.5


def test_the_reader_leaves_what_is_hardly_held():
    assert phase_reader.read(tone(440.0), SR, 440.0, 0.1, 0.4) is None


@pytest.mark.parametrize(
    ("heard", "outcome"),
    [
        (event(0.0, 1.0, off(440.0, 10.0)), "heard"),
        (event(0.0, 0.4, 440.0), "other"),
        (event(0.0, 1.0, 440.0, 550.0), "other"),
    ],
)
def test_a_single_note_is_compared_when_it_is_heard_as_one(heard, outcome):
    label = Span(0.0, 1.0, (69,), 441.0)
    score = score_single(label, [heard], tone(440.0))
    assert score.outcome == outcome
    if outcome == "heard":
        assert score.error_cents == pytest.approx(10.0, abs=0.05)


# --- the material -----------------------------------------------------------------------------


def test_every_label_lies_within_its_recording():
    for name in real.movements():
        labels, length_s = real.labels(name), real.movement(name).duration_s
        spans = [(s.start_s, s.end_s) for s in (*labels.pairs, *labels.singles)]
        assert labels.line
        assert all(0.0 <= start < end <= length_s for start, end in (*spans, *labels.line))
        assert all(span.midi[0] < span.midi[1] for span in labels.pairs)


def test_both_players_have_pairs_and_one_movement_is_a_single_line():
    by_name = {name: real.labels(name) for name in real.movements()}
    assert {real.player_of(n) for n, found in by_name.items() if found.pairs} == set(real.PLAYERS)
    assert [n for n, found in by_name.items() if found.single_line] == ["player-a-line.mp3"]
    assert set(real.QUICK) <= set(by_name)


def test_the_notice_stands_beside_the_recordings():
    notice = (real.FOLDER / "README.md").read_text(encoding="utf-8")
    assert "CC BY 3.0" in notice
    assert all(name in notice for name in real.movements())


def test_a_player_is_left_out_of_what_is_fitted_and_put_back(monkeypatch):
    fitted = SimpleNamespace(WEIGHTS="all", BIAS=0.0)
    fit = SimpleNamespace(weights_without=lambda player: (f"without {player}", 1.0))
    monkeypatch.setitem(sys.modules, "made_up_fitted", fitted)
    monkeypatch.setattr(real, "FITTED", "made_up_fitted")
    monkeypatch.setattr(real, "_refit", lambda: fit.weights_without)
    with real.fitted_without("player-a"):
        assert (fitted.WEIGHTS, fitted.BIAS) == ("without player-a", 1.0)
    assert (fitted.WEIGHTS, fitted.BIAS) == ("all", 0.0)


def test_nothing_changes_where_nothing_is_fitted(monkeypatch):
    monkeypatch.setattr(real, "FIT", "tests.no_such_fit")
    assert not real.leaves_players_out()
    with real.fitted_without("player-a"):
        pass
