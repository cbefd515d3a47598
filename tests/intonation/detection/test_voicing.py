"""Every voice of a double stop is asked whether a bow holds it."""

import numpy as np

from studio.intonation.detection import find_soundings, voicing
from studio.intonation.detection.resampling import Sound
from tests.intonation import synth
from tests.intonation.detection import scenes
from tests.intonation.detection.scenes import Conditions
from tests.intonation.synth import SR, Note

ROOM = Conditions(t60_s=0.4, snr_db=25.0)


def recorded(y: np.ndarray, seed: int) -> Sound:
    return Sound(scenes.as_recorded(np.random.default_rng([5200, seed]), y, ROOM), SR)


def bowed(notes: list[Note], seed: int) -> Sound:
    return recorded(synth.mix(np.random.default_rng([5300, seed]), notes), seed)


def struck(f0s_hz: list[float], seed: int) -> Sound:
    rng = np.random.default_rng([5400, seed])
    y = np.pad(sum(synth.piano_note(rng, f0, 1.2) for f0 in f0s_hz), (SR // 10, SR // 2))
    return recorded(y, seed)


def odds(sound: Sound, f0s_hz: list[float], span: tuple[float, float]) -> np.ndarray:
    return voicing.log_odds(voicing.voice_signs(sound, *span, np.array(f0s_hz)))


def test_voices_under_a_bow_are_believed() -> None:
    for seed, pair in enumerate(([220.0, 366.7], [294.0, 441.0], [392.0, 466.0], [196.0, 494.0])):
        sound = bowed([Note(0.2, 1.2, f0) for f0 in pair], seed)
        assert (odds(sound, pair, (0.2, 1.2)) > voicing.SURE).all()


def test_struck_strings_are_refused_by_their_stretched_partials() -> None:
    for seed, pair in enumerate(([220.0, 366.7], [294.0, 441.0], [392.0, 466.0])):
        told = odds(struck(pair, seed), pair, (0.15, 1.1))
        assert told.min() < voicing.REFUSED


def test_a_pitch_that_nobody_plays_is_taken_out() -> None:
    sound = bowed([Note(0.2, 1.2, 220.0), Note(0.2, 1.2, 366.7)], 7)
    thought = np.array([146.0, 220.0, 366.7])
    held = voicing.held_voices(sound, 0.2, 1.2, thought, placed=True)
    assert held.tolist() == [220.0, 366.7]


def test_a_voice_that_drops_out_for_a_third_of_the_time_is_kept() -> None:
    notes = [Note(0.2, 1.4, 294.0), Note(0.2, 0.7, 440.0), Note(1.1, 1.4, 440.0)]
    held = voicing.held_voices(bowed(notes, 8), 0.2, 1.4, np.array([294.0, 440.0]), placed=True)
    assert len(held) == 2


def test_a_man_humming_below_the_lowest_string_is_not_a_fifth() -> None:
    n, f0 = SR, 99.0
    k = np.arange(1, 30)[:, None]
    formants = 1.0 / (1.0 + ((k * f0 - 500.0) / 300.0) ** 2) + 0.05
    y = (formants / np.sqrt(k) * np.sin(2.0 * np.pi * k * f0 * np.arange(n) / SR)).sum(axis=0)
    hum = recorded(0.05 * y, 9)
    fifth = np.array([2.0 * f0, 3.0 * f0])
    assert len(voicing.held_voices(hum, 0.1, 0.9, fifth, placed=True)) == 1
    played = bowed([Note(0.1, 1.0, f0) for f0 in fifth], 9)
    assert len(voicing.held_voices(played, 0.1, 0.9, fifth, placed=True)) == 2


def test_double_stops_survive_the_question_in_noise() -> None:
    rng = np.random.default_rng(5500)
    y = synth.mix(rng, [Note(0.3, 1.1, 262.0), Note(0.3, 1.1, 440.0)])
    noisy = scenes.as_recorded(rng, y, Conditions(t60_s=0.8, snr_db=10.0))
    assert [len(s.voices) for s in find_soundings(noisy, SR)] == [2]
