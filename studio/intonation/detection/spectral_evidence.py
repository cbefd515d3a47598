"""What the pooled spectrum of an event says against a reading: phantoms, noise, struck strings.

Conventions: voices in Hz, ascending; everything is read from the pooled spectrum of an event (one
row of ``Spectra``).

Phantoms of chords in just intonation
-------------------------------------
The notes of a chord in tune are whole multiples of some lower pitch: the upper notes of 4:5:6 lie
at 2.5 and 3 times 2, those of a sixth and a fifth above a note at 2 and 3 times another. A set that
holds that lower pitch instead of the notes explains every peak with fewer voices, and so costs
less (see ``hypotheses``). What gives it away is what it does not show: of a bowed string nearly
all partials sound, of this phantom only multiples of the notes played.

The partials that stand clear of the other voices are asked, from the lowest up, as the sieve of
Eratosthenes does: the first that is heard is a note, its multiples are explained by it; the next
that is heard and is no multiple is another. Where the fundamental and most of the numbers
that are no multiples of these notes are far below what their neighbours promise, the phantom is
replaced by the notes.

Is it a bowed string?
---------------------
Noise, talk and struck strings are heard too, and are not notes played.

* *Clear*: a note's best partials stand far above the noise. In noise, the best of many bins
  stand only a few decibels above it.
* *Harmonic*: a steadily bowed string is periodic, so partial k lies at k·f0 exactly; a struck or
  plucked one is stiff, f_k = k·f0·sqrt(1 + B·k²) (Fletcher & Rossing, *The Physics of Musical
  Instruments*), a piano's B being 1e-4 to 1e-3 from the middle of the keyboard up. The spectrum is
  compared with both: the number of clear peaks that the best stretched series places to some
  hertz, less what the best exact one does.
"""

import numpy as np

from studio.intonation.detection.spectra import SPLIT_HZ, Spectra
from studio.theory import as_ratio

# Of phantoms. Chosen on made chords and recorded notes; each trades chords heard as one lower pitch
# for single notes taken apart.
PHANTOM_PARTIALS = 13  # asked of a pitch that may be none
LOWEST_HZ, HIGHEST_HZ = 100.0, 4500.0  # of its partials: below is hum, above bow noise
REACH_BINS = 2  # vibrato and mistuned notes move a multiple by this much
HEARD_DB = 9.0  # over the noise
PHANTOM_LOUD_DB = 26.0  # below the loudest of the voice's partials: leakage, room
USUAL_DB = 10.0  # below the multiples beside it: neighbouring partials differ by this much
BODY_DB = 14.0  # the same, more, for a fundamental: the body radiates little down there
EVIDENCE_DB = 20.0  # in all, beyond the usual
MOST_VOICES = 4  # a chord over four strings
TOP_NUMBER = 6  # of a note among the phantom's partials
# Own partials keep clear of other voices' by the windows' main lobes, and 5 cents more.
CLEAR_LOW_HZ, CLEAR_HIGH_HZ, CLEAR_SHARE = 22.0, 28.0, 0.003
PLACED_HZ, PLACED_SHARE = 4.0, 0.01  # a note's own peak lies within: 17 cents and most of a bin
# Of bows. Chosen on recorded notes, talk, noise and made struck strings:
CLEAR_DB = 14.0  # mean of a voice's three best partials over the noise
PARTIAL_HZ, PARTIAL_SHARE = 4.0, 0.012  # within which a peak is a voice's partial, 20 cents more
STIFFNESS = np.concatenate([[0.0, -3e-5, 3e-5], np.arange(8e-5, 1.6e-3, 4e-5)])  # B; three exact
EXACT = 3  # of them, by definition of the line above
BASES = as_ratio(np.arange(-16.0, 17.0, 2.0))  # f0 may be this far off
STRUCK_PEAKS = 3.0  # how many more clear peaks the stretched series must place
FADING_PEAKS = 2.2  # the same for a sound that fades from its start, as struck ones do
FADING_DB_PER_S = -7.0  # a fade from the start: faster than a held note's
SERIES_PARTIALS = 12  # of a series that may be stretched
BEYOND_PARTIALS = 1.5  # by which the twelfth of a stretched one may run ahead, and half one more
FEWEST_PEAKS = 4  # that tell one series from another
PEAK_DB, PEAK_OVER_DB = 10.0, 15.0  # over the noise: a peak counts from here, wholly from both
NEAR_HZ, NEAR_SHARE = 1.5, 0.001  # how near a series must place a peak; soft
SHARED_HZ, SHARED_SHARE = 4.0, 0.004  # of another voice's partial: a peak explained by it


def unfolded(spectra: Spectra, row: int, f0_hz: np.ndarray) -> np.ndarray:
    """Return the voices (V,) with phantoms replaced by the notes they stand for."""
    voices = np.sort(f0_hz)
    for phantom in voices:
        numbers = _notes_within(spectra, row, float(phantom), voices[voices != phantom])
        if not numbers or len(voices) - 1 + len(numbers) > MOST_VOICES:
            continue
        notes = [_placed(spectra, row, k, float(phantom)) for k in numbers]
        rest = voices[voices != phantom]
        voices = np.sort(np.concatenate([rest, notes]))
    return voices


def _notes_within(spectra: Spectra, row: int, f0: float, others: np.ndarray) -> list[int]:
    """Return the partial numbers that are notes, or none where ``f0`` is a note itself."""
    number = np.arange(1, PHANTOM_PARTIALS + 1)
    hz = number * f0
    usable = (hz > LOWEST_HZ) & (hz < HIGHEST_HZ)
    clear = usable & _clear(hz, others)
    level, over_db = _levels(spectra, row, hz)
    loudest = level[clear].max() if clear.any() else 0.0
    heard = clear & (over_db > HEARD_DB) & (level > loudest - PHANTOM_LOUD_DB)
    notes: list[int] = []
    for k in number[heard]:
        if not any(k % note == 0 for note in notes):
            notes.append(int(k))
            if k > TOP_NUMBER or len(notes) > MOST_VOICES - 1:
                return []
    if not notes or notes[0] == 1:
        return []
    return notes if _is_phantom(level, usable, clear, notes) else []


def _is_phantom(db: np.ndarray, usable: np.ndarray, clear: np.ndarray, notes: list[int]) -> bool:
    """Say whether the partials that no note explains are too faint for a string's own."""
    number = np.arange(1, len(db) + 1)
    multiple = np.array([any(k % note == 0 for note in notes) for k in number])
    known = number[usable & multiple]
    evidence = 0.0
    for k in number[clear & ~multiple]:
        beside = [*known[known < k][-1:], *known[known > k][:1]]
        if not (known > k).any():  # spectra fall: nothing above promises anything
            break
        shortfall = float(db[np.array(beside) - 1].mean() - db[k - 1])
        evidence += shortfall - USUAL_DB - (BODY_DB if k == 1 else 0.0)
    return evidence > EVIDENCE_DB


def _clear(hz: np.ndarray, others: np.ndarray) -> np.ndarray:
    width = np.where(hz < SPLIT_HZ, CLEAR_LOW_HZ, CLEAR_HIGH_HZ) + CLEAR_SHARE * hz
    nearest = np.maximum(1.0, np.rint(hz[:, None] / others)) * others
    return (np.abs(hz[:, None] - nearest) > width[:, None]).all(axis=1)


def _levels(spectra: Spectra, row: int, hz: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the level of each frequency in dB and how far it stands over the noise."""
    db, floor = spectra.db[row], spectra.floor_db[row]
    centre = np.rint(hz / spectra.bin_hz).astype(int)
    around = np.clip(centre[:, None] + np.arange(-REACH_BINS, REACH_BINS + 1), 0, len(db) - 1)
    return db[around].max(axis=1), db[around].max(axis=1) - floor[around[:, REACH_BINS]]


def _placed(spectra: Spectra, row: int, number: int, f0: float) -> float:
    """Return the pitch of a note at ``number`` times ``f0``: that of the peak there."""
    hz = spectra.peak_hz[row]
    nearest = float(hz[np.argmin(np.abs(hz - number * f0))])
    return (
        nearest if abs(nearest - number * f0) < PLACED_HZ + PLACED_SHARE * nearest else number * f0
    )


def clear_db(spectra: Spectra, row: int, f0: float) -> float:
    """Return how far a voice's three best partials stand above the noise, in dB, on average."""
    hz, snr = spectra.peak_hz[row], spectra.peak_snr_db[row]
    k = np.rint(hz / f0)
    near = (k >= 1) & (np.abs(hz - k * f0) < PARTIAL_HZ + PARTIAL_SHARE * hz)
    best = np.sort(np.where(near, snr, 0.0))[-3:]
    return float(best.mean())


def is_stretched(spectra: Spectra, row: int, f0: float, others: np.ndarray, needed: float) -> bool:
    """Say whether a stretched series places ``needed`` more clear peaks than an exact one.

    Peaks that the ``others`` (Hz, exact series) explain do not count. Where so few are left over by
    the exact one that nothing could place as many, no stretched one is tried: so it is with nearly
    every bowed note.
    """
    hz, snr = spectra.peak_hz[row], spectra.peak_snr_db[row]
    inside = (hz > 0.5 * f0) & (hz < (SERIES_PARTIALS + BEYOND_PARTIALS) * f0)
    usable = (snr > PEAK_DB) & inside & ~_shared(hz, others)
    hz, weight = hz[usable], np.clip((snr[usable] - PEAK_DB) / PEAK_OVER_DB, 0.0, 1.0)
    if len(hz) < FEWEST_PEAKS:
        return False
    exact = _placed_peaks(hz, weight, f0, STIFFNESS[:EXACT])
    if weight.sum() - exact <= needed:
        return False
    return _placed_peaks(hz, weight, f0, STIFFNESS[EXACT:]) - exact > needed


def _placed_peaks(hz: np.ndarray, weight: np.ndarray, f0: float, stiffness: np.ndarray) -> float:
    """Return the most peaks (P,), by ``weight``, that a series of one ``stiffness`` (B,) places."""
    # The partial nearest to a peak, from f = f0 k sqrt(1 + B k²) solved for k.
    x2 = (hz / f0) ** 2
    k = np.sqrt(2 * x2 / (1 + np.sqrt(1 + 4 * stiffness[:, None] * x2)))
    k = np.clip(np.rint(k), 1.0, SERIES_PARTIALS)
    series = f0 * k * np.sqrt(1.0 + stiffness[:, None] * k * k)  # (B, P)
    off = (BASES[:, None, None] * series - hz) / (NEAR_HZ + NEAR_SHARE * hz)
    return float((np.exp(-(off**2)) @ weight).max())


def _shared(hz: np.ndarray, others: np.ndarray) -> np.ndarray:
    if not len(others):
        return np.zeros(len(hz), bool)
    number = np.maximum(1.0, np.rint(hz[:, None] / others))
    away = np.abs(hz[:, None] - number * others)
    return (away < SHARED_HZ + SHARED_SHARE * hz[:, None]).any(axis=1)


def is_struck(
    spectra: Spectra, row: int, f0: float, others: np.ndarray, slope_db_per_s: float
) -> bool:
    """Say whether a voice's partials are stretched as a struck string's."""
    needed = FADING_PEAKS if slope_db_per_s < FADING_DB_PER_S else STRUCK_PEAKS
    return is_stretched(spectra, row, f0, others, needed)
