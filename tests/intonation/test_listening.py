"""Listening from sound to measurement: names, times, reference, open strings, other ears."""

import math

import numpy as np
import pytest

from studio.intonation import Measurement, Options, Policy, analyse, judge, listen
from studio.intonation.listening import build, name_notes
from studio.intonation.model.measurement import Source
from studio.intonation.model.sounding import (
    EventFit,
    IntervalFit,
    Sounding,
    SoundingVoice,
    VoiceFit,
)
from studio.intonation.shared_librosa import librosa
from studio.theory import Pitch, cents_between
from tests.intonation.synth import SR, Note, in_room, with_noise


def hz(name, off=0.0, a4_hz=440.0):
    return Pitch.parse(name).frequency(a4_hz) * 2.0 ** (off / 1200.0)


def steady(note):
    """A bowed note without any movement: exact harmonics, so that its pitch is known exactly."""
    t = np.arange(round((note.end_s - note.start_s) * SR)) / SR
    partials = range(1, min(25, int(8000.0 / note.f0_hz)))
    y = sum(np.sin(2 * np.pi * k * note.f0_hz * t + k * k) / k**1.2 for k in partials)
    edge = np.minimum(1.0, np.minimum(t, t[::-1]) / 0.04)
    return y * edge * 10.0 ** (note.level_db / 20.0)


def sound(notes, seed=1):
    """The notes in a small room, at 30 dB."""
    rng = np.random.default_rng(seed)
    y = np.zeros(round((max(note.end_s for note in notes) + 0.5) * SR))
    for note in notes:
        stroke = steady(note)
        first = round(note.start_s * SR)
        y[first : first + len(stroke)] += stroke
    y = with_noise(rng, in_room(rng, y, 0.4), 30.0)
    return (y / np.max(np.abs(y)) * 0.8).astype(np.float32)


PASSAGE = [
    ("Eb4", None, 0.0),
    ("Eb4", "C5", 0.0),  # a just major sixth
    ("F4", "D5", 30.0),
    ("G4", "Bb4", -25.0),
    ("A3", "D4", 0.0),
    ("F4", None, 0.0),
    ("A3", "D4", 0.0),
]
SIZES = {
    ("Eb4", "C5"): 884.359,
    ("F4", "D5"): 884.359,
    ("G4", "Bb4"): 315.641,
    ("A3", "D4"): 498.045,
}
A4_HZ = 442.0


def passage():
    notes = []
    for number, (low, high, off) in enumerate(PASSAGE):
        start = 0.3 + 1.4 * number
        f0 = hz(low, a4_hz=A4_HZ)
        notes.append(Note(start, start + 1.1, f0))
        if high:
            size = SIZES[(low, high)] + off
            notes.append(Note(start, start + 1.1, f0 * 2.0 ** (size / 1200.0), 1.0))
    return notes


@pytest.fixture(scope="module")
def heard():
    return listen(sound(passage()), SR, Options())


def test_notes_and_double_stops_are_heard_and_named(heard):
    found = [tuple(voice.pitch for voice in event.voices) for event in heard.events]
    assert found == [tuple(n for n in notes[:2] if n) for notes in PASSAGE]
    kinds = ["double_stop" if high else "single" for _, high, _ in PASSAGE]
    assert [event.kind for event in heard.events] == kinds


def test_spans_are_within_50_ms_at_the_onset(heard):
    for number, event in enumerate(heard.events):
        assert event.start_s == pytest.approx(0.3 + 1.4 * number, abs=0.05)


def test_intervals_are_within_half_a_cent_of_the_published_sizes(heard):
    # Just sizes: Ellis, in Helmholtz, On the Sensations of Tone, 1885, App. XX.
    for event, (low, high, off) in zip(heard.events, PASSAGE, strict=True):
        if high:
            [interval] = event.intervals
            assert interval.size_cents == pytest.approx(SIZES[(low, high)] + off, abs=0.5)
            assert 0.0 < interval.uncertainty_cents < 2.0


def test_beats_are_those_of_the_first_coinciding_partials(heard):
    event = heard.events[2]
    low, high = (voice.f0_hz for voice in event.voices)
    assert event.intervals[0].beat_hz == pytest.approx(abs(5 * low - 3 * high), abs=0.01)
    assert heard.events[1].intervals[0].beat_hz < 1.0


def test_a4_is_estimated_within_its_uncertainty(heard):
    reference = heard.reference
    off = cents_between(A4_HZ, reference.a4_hz)
    assert abs(off) < 3.0 * reference.uncertainty_cents
    assert abs(off) < 8.0


def test_an_open_string_is_found_by_its_neighbour(heard):
    [string] = heard.open_strings
    assert string.pitch == "D4"
    assert heard.events[4].voices[1].finger == 0
    assert heard.events[4].voices[1].string == 3
    assert heard.events[2].voices[0].finger is None


def test_the_clip_is_spelled_in_its_likeliest_key(heard):
    # The notes are those of B flat major and of E flat major; B flat and E flat are flats.
    assert heard.key in ("Bb major", "Eb major", "G minor", "C minor")


def test_nothing_is_heard_below_the_lowest_string():
    # A note an octave below its real pitch would fit too: E3 and A3 for a fourth played as A3, E4.
    y = sound([Note(0.3, 1.5, hz("A3")), Note(0.3, 1.5, hz("E4", -19.0), 1.0)])
    lowest = Pitch.parse("G3").frequency(430.0) * 0.95
    events = listen(y, SR, Options()).events
    assert events
    assert all(voice.f0_hz > lowest for event in events for voice in event.voices)


def test_voices_carry_their_tracks(heard):
    voice = heard.events[2].voices[0]
    assert voice.track.step_s == 0.05
    followed = [cents for cents in voice.track.cents if cents is not None]
    assert len(followed) > 10
    assert np.median(np.abs(followed)) < 5.0


def test_the_misses_are_marked_and_nothing_else(heard):
    marks = judge(heard, Policy()).marks
    assert [(mark.events, mark.code) for mark in marks] == [
        ((2,), "interval_wide"),
        ((3,), "interval_narrow"),
    ]


def test_a_measurement_is_the_same_after_a_round_trip(heard):
    loaded = Measurement.from_dict(heard.to_dict())
    assert loaded.to_dict() == heard.to_dict()
    assert judge(loaded, Policy()).to_dict() == judge(heard, Policy()).to_dict()


def test_single_notes_agree_with_pyin():
    # An independent ear: probabilistic YIN (Mauch & Dixon 2014, ICASSP), as in librosa.
    notes = [Note(0.3, 1.5, hz("E4", 12.0)), Note(1.8, 3.0, hz("C#5", -9.0))]
    y = sound(notes)
    events = listen(y, SR, Options()).events
    assert len(events) == 2
    for event in events:
        theirs = pyin_hz(y, event.start_s + 0.2, event.end_s - 0.2, event.voices[0].f0_hz)
        assert abs(cents_between(theirs, event.voices[0].f0_hz)) < 3.0  # its grid is 2 cents


def pyin_hz(y, start_s, end_s, near_hz):
    """Median pitch by pyin, looked for within a fourth up or down, on a grid of 2 cents."""
    piece = librosa().resample(y[int(start_s * SR) : int(end_s * SR)], orig_sr=SR, target_sr=22050)
    f0, _, _ = librosa().pyin(
        piece,
        fmin=near_hz * 0.75,
        fmax=near_hz * 1.33,
        sr=22050,
        resolution=0.02,
        max_transition_rate=2.0,
    )
    return float(np.nanmedian(f0))


def test_sample_rates_do_not_change_the_pitch():
    notes = [Note(0.2, 1.4, hz("Eb4")), Note(0.2, 1.4, hz("C5", -10.0))]
    y = sound(notes)
    sizes = []
    for sr in (22050, 44100, 48000):
        heard = listen(librosa().resample(y, orig_sr=SR, target_sr=sr), sr, Options())
        sizes.append(heard.events[0].intervals[0].size_cents)
        assert heard.source.sample_rate_hz == sr
    assert max(sizes) - min(sizes) < 0.3


def test_silence_and_noise_hold_no_events():
    assert listen(np.zeros(SR * 2, np.float32), SR, Options()).events == ()
    noise = 0.01 * np.random.default_rng(3).standard_normal(SR * 2)
    assert listen(noise, SR, Options()).events == ()
    assert listen(np.zeros(0, np.float32), SR, Options()).source.duration_s == 0.0


def test_progress_is_told_and_what_it_raises_stops_the_listening():
    told = []
    y = sound([Note(0.2, 1.0, hz("A4")), Note(1.2, 2.0, hz("B4"))])
    listen(y, SR, Options(), on_progress=told.append)
    assert told[0] == 0.0
    assert told[-1] == 1.0
    assert told == sorted(told)

    def stop(share):
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        listen(y, SR, Options(), on_progress=stop)


def test_a_sounding_that_cannot_be_solved_is_shown_unmeasured(monkeypatch):
    def unsolvable(*arguments, **fields):
        raise np.linalg.LinAlgError("singular matrix")

    monkeypatch.setattr("studio.intonation.listening.measure_sounding", unsolvable)
    y = sound([Note(0.2, 1.4, hz("Eb4")), Note(0.2, 1.4, hz("C5", 40.0))])
    heard = listen(y, SR, Options())
    assert [voice.pitch for voice in heard.events[0].voices] == ["Eb4", "C5"]
    judgement = judge(heard, Policy())
    assert [row.unsure_reason for row in judgement.intervals] == ["not_measured"]
    assert judgement.marks == ()


@pytest.mark.parametrize(
    ("y", "sr", "message"),
    [
        (np.zeros((2, 100)), 44100, r"one-dimensional array of samples, not \(2, 100\)"),
        ([0.0, 0.1], 44100, "one-dimensional array of samples, not list"),
        (np.zeros(100, np.int16), 44100, "y holds int16; give floats"),
        (np.zeros(100), 4000, "sample rate 4000 Hz is below 8000 Hz"),
        (np.zeros(100), math.nan, "sample rate nan Hz"),
        (np.full(44100, np.nan), 44100, "finite"),
    ],
)
def test_what_is_no_sound_is_refused(y, sr, message):
    with pytest.raises(ValueError, match=message):
        listen(y, sr, Options())


def test_analyse_composes_both():
    y = sound([Note(0.2, 1.4, hz("Eb4")), Note(0.2, 1.4, hz("C5", -10.0))])
    analysis = analyse(y, SR, Options(), Policy(tuning="equal"))
    assert analysis.judgement == judge(analysis.measurement, Policy(tuning="equal"))


# Naming and building, without sound


@pytest.mark.parametrize(
    ("offs", "names"),
    [
        (("Bb3", 0, "Bb4", 0), "Bb3 Bb4"),
        (("Bb3", 26, "Bb4", 56), "Bb3 Bb4"),  # 30 cents wide, the upper nearer to B
        (("Bb3", -30, "Bb4", 30), "Bb3 Bb4"),
        (("F4", -52, "D5", -55), "F4 D5"),  # a hand that lies flat is still a sixth
        (("D4", 45, "F4", 20), "D4 F4"),
    ],
)
def test_two_notes_are_named_together(offs, names):
    low, low_off, high, high_off = offs
    midi = name_notes([hz(low, low_off), hz(high, high_off)], 440.0)
    size = Pitch.parse(names.split()[1]).midi - Pitch.parse(names.split()[0]).midi
    assert midi[1] - midi[0] == size


def _built(f0_low, f0_high, **fields):
    voices = (SoundingVoice(f0_low, 0.0, 1.0), SoundingVoice(f0_high, 0.1, 1.0))
    sounding = Sounding(0.0, 1.0, voices, 0.9, **fields)
    track = np.array([0.1, 0.12, 0.8, 0.82])
    fits = tuple(
        VoiceFit(f, 0.3, None, -20.0, None, None, None, track, np.full(4, f))
        for f in (f0_low, f0_high)
    )
    interval = IntervalFit(0, 1, cents_between(f0_low, f0_high), 0.4, None, 0.9)
    fit = EventFit(fits, (interval,))
    return build([sounding], [fit], Source(1.0, 22050), Options(a4_hz=440.0)).events[0]


def test_doubt_alternatives_and_quality_are_carried():
    event = _built(
        hz("Bb3"),
        hz("Bb4", 3.0),
        alternatives=((hz("Bb3"),),),
        snr_db=math.nan,
        clipped=True,
        doubt="octave_or_single",
    )
    assert event.doubt == "octave_or_single"
    assert event.alternatives[0].pitches == ("Bb3",)
    assert (event.quality.snr_db, event.quality.clipped) == (None, True)


def test_a_track_keeps_its_gap():
    cents = _built(hz("Bb3"), hz("Bb4")).voices[0].track.cents
    assert cents[0] == 0.0
    assert None in cents[4:10]
