"""Notes below the instrument that was told: another instrument plays, or was told wrongly.

Conventions: seconds from the clip's start, hertz. *Below* is below the lowest open string by more
than a string is ever mistuned.

Method
------
Finding looks lower than the instrument on purpose, so most notes below it are simply found. A
cello's lowest lie below what is looked for, and are heard as one of their own overtones: A3 where
A2 sounds, or as two of them, a fifth. Such a note has power at half or a third of what was heard,
where nothing of a violin's sounds (what does is hum). Only those are asked, and by an ear of
another kind: librosa's probabilistic YIN, which finds the period of one voice (Mauch & Dixon,
*Proc. ICASSP* 2014, 659-663).
"""

from collections.abc import Sequence

import numpy as np

from studio.intonation.model.measurement import BelowRange
from studio.intonation.model.sounding import Sounding
from studio.intonation.shared_librosa import librosa
from studio.theory import in_cents

# Chosen; each trades a lower instrument not noticed for a wrong warning. Checked by
# tests/intonation/detection/test_instrument_range.py.
LEAST_NOTES = 3  # one or two may be slips of the ear
LEAST_SHARE = 0.15  # of the time in which anything was heard
LEAST_LENGTH_S = 0.2  # of a note that counts
LEAST_CONFIDENCE = 0.6  # of a note that counts
MOST_ASKED = 6  # notes asked by the second ear: about a second of work
ASKED_S = 0.4  # of each
LOWEST_HZ = 60.0  # a cello's C2 is 65 Hz
HIGHEST_TIMES = 4.0  # the pitch asked about, two octaves: as far as the second ear looks
BELOW_SHARES = (2.0, 3.0)  # the note heard may be the second or third partial
FIFTH = 1.5  # two notes heard may be the second and the third
POWER_DB = -30.0  # below the note heard, at least: hum and bow noise lie further down
AGREED = 0.5  # of the frames asked must lie below
SECOND_RATE_HZ = 11_025  # half the analysis rate: enough for periods, and quicker
NEAR_CENTS = 60.0  # both ears mean one note


def below_range(
    y: np.ndarray, sr: float, soundings: Sequence[Sounding], floor_hz: float
) -> BelowRange | None:
    """Say how much of what was heard lies below ``floor_hz``, or ``None`` where it is hardly any.

    Parameters
    ----------
    y : np.ndarray, shape (n,), mono sound
    sr : float, Hz
    soundings : everything found, what lies below the instrument included
    floor_hz : float, just below the lowest open string
    """
    sure = [
        s
        for s in soundings
        if s.confidence >= LEAST_CONFIDENCE and s.end_s - s.start_s >= LEAST_LENGTH_S
    ]
    low = {
        place: sounding.voices[0].f0_hz
        for place, sounding in enumerate(sure)
        if sounding.voices[0].f0_hz < floor_hz
    }
    low |= _heard_as_overtones(y, sr, sure, floor_hz)
    total_s = sum(s.end_s - s.start_s for s in sure)
    low_s = sum(sure[place].end_s - sure[place].start_s for place in low)
    if len(low) < LEAST_NOTES or low_s < LEAST_SHARE * total_s:
        return None
    return BelowRange(len(low), low_s / total_s, min(low.values()))


def _heard_as_overtones(
    y: np.ndarray, sr: float, soundings: Sequence[Sounding], floor_hz: float
) -> dict[int, float]:
    """Return the places of what really sounds below, with the pitch of each in Hz.

    Only the longest suspects are asked; if most of them are low, so are the others.
    """
    suspects = {
        place: f0
        for place, sounding in enumerate(soundings)
        if (f0 := _suspected(y, sr, sounding, floor_hz))
    }
    if len(suspects) < LEAST_NOTES:
        return {}
    longest = sorted(suspects, key=lambda n: soundings[n].start_s - soundings[n].end_s)
    asked = longest[:MOST_ASKED]
    agreed = [place for place in asked if _second_ear(y, sr, soundings[place], suspects[place])]
    return suspects if len(agreed) > AGREED * len(asked) else {n: suspects[n] for n in agreed}


def _middle(y: np.ndarray, sr: float, sounding: Sounding) -> np.ndarray:
    middle_s = 0.5 * (sounding.start_s + sounding.end_s)
    half_s = 0.5 * min(ASKED_S, sounding.end_s - sounding.start_s)
    return np.asarray(y[int((middle_s - half_s) * sr) : int((middle_s + half_s) * sr)], float)


def _suspected(y: np.ndarray, sr: float, sounding: Sounding, floor_hz: float) -> float | None:
    """Return where below the instrument what was heard shows power, in Hz, if it does."""
    f0 = sounding.voices[0].f0_hz
    shares: tuple[float, ...] = BELOW_SHARES
    if len(sounding.voices) > 1:
        off = in_cents(sounding.voices[1].f0_hz / f0 / FIFTH)
        shares = BELOW_SHARES[:1] if abs(off) < NEAR_CENTS else ()
    x = _middle(y, sr, sounding)
    power = np.abs(np.fft.rfft(x * np.hanning(len(x)))) ** 2
    bin_hz = sr / len(x)

    def at_db(hz: float) -> float:
        middle = round(hz / bin_hz)
        return float(10.0 * np.log10(power[max(1, middle - 1) : middle + 2].max() + 1e-20))

    for share in shares:
        hz = f0 / share
        if LOWEST_HZ < hz < floor_hz and at_db(hz) > at_db(f0) + POWER_DB:
            return float(hz)
    return None


def _second_ear(y: np.ndarray, sr: float, sounding: Sounding, about_hz: float) -> bool:
    """Say whether probabilistic YIN hears the note at ``about_hz`` too."""
    ours = librosa()
    x = ours.resample(_middle(y, sr, sounding), orig_sr=sr, target_sr=SECOND_RATE_HZ)
    f0, voiced, _ = ours.pyin(x, sr=SECOND_RATE_HZ, fmin=LOWEST_HZ, fmax=HIGHEST_TIMES * about_hz)
    near = np.abs(in_cents(f0[voiced] / about_hz)) < NEAR_CENTS
    return bool(len(near) and near.mean() > AGREED)
