"""Single notes, beside an independent pitch follower."""

import numpy as np
import soundfile

from studio.intonation.estimation import measure_sounding
from studio.intonation.model.sounding import Sounding, SoundingVoice
from studio.intonation.shared_librosa import librosa
from tests.intonation.estimation import tones


def test_a_recorded_note_agrees_with_pyin():
    """pYIN: Mauch & Dixon 2014, ICASSP, 659-663, as librosa implements it (its grid is 10 c)."""
    y, sr = soundfile.read(tones.NOTES / "violin_A4.flac")
    y = y[: int(1.2 * sr)]
    f0, _, _ = librosa().pyin(y, fmin=300, fmax=650, sr=sr, resolution=0.1)
    reference = float(np.nanmedian(f0))
    voice = SoundingVoice(440.0, 0.0, 1.2)
    fit = measure_sounding(y, sr, Sounding(0.0, 1.2, (voice,), 1.0))
    assert fit.intervals == ()
    tones.assert_cents(1200 * np.log2(fit.voices[0].f0_hz / reference), 0.0, within=5.0)
    tones.assert_cents(1200 * np.log2(fit.voices[0].f0_hz / 441.910), 0.0, within=1.0)


def test_a_single_note_is_right_within_a_tenth_of_a_cent_with_a_level():
    rng = np.random.default_rng(3)
    event = tones.mix(rng, [tones.bowed_tone(rng, 349.2, 1.2, wander_cents=0.5)])
    event.y *= 10 ** (-6 / 20)
    fit = measure_sounding(event.y, event.sr, tones.coarse(rng, event))
    begin, end = tones.held_part(event)
    voice = fit.voices[0]
    tones.assert_cents(
        1200 * np.log2(voice.f0_hz / 349.2), tones.true_cents(event, 0, begin, end), within=0.15
    )
    middle = event.y[int(0.5 * event.sr) : int(1.2 * event.sr)]
    assert abs(voice.level_db - 20 * np.log10(np.std(middle))) < 1.5
