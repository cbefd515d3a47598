"""Second looks at double stops: what only looks like two notes is taken back.

Conventions: events as in ``segments``; sizes and movements in cents; times in seconds.

Method
------
Six things look like a double stop in the mean spectrum of an event, and are none.

* *A voice that glides*, as talk does by tens of cents in a tenth of a second, leaves two lines
  where its pitch lingered. Moving on a logarithmic axis, all its partials move alike: the
  spectra of the event's thirds agree best when shifted against each other (the constant-Q
  argument: Brown, *J. Acoust. Soc. Am.* 89(1), 1991). Two bowed notes stand still, and where one
  of them slides, the other keeps its place. Vibrato comes round within a third.
* *Struck strings* all fade from the start along straight lines in dB, with stretched partials
  (see ``spectral_evidence``). A bow may do the first but not the second.
* *A change of notes*: a brief pair of just the notes before and after, each alone, is the end of
  the one in the room under the beginning of the other.
* *A ghost*: beside a single note, a brief pair of the same note and one in a whole-number ratio
  to it (an octave, a twelfth ...), is that note: vibrato smears its upper partials into a second
  set, a change of bow leaves the lower ones without their even companions.
* *A voice that no bow holds*, see ``voicing``.
* *A touch*: a voice heard for a moment within one held note is a string brushed, or noise.

A change, a ghost and a touch are told from the neighbours alone, so only brief pairs are asked.
"""

from itertools import pairwise

import numpy as np

from studio.intonation.detection import boundaries, voicing
from studio.intonation.detection.envelopes import envelopes
from studio.intonation.detection.resampling import Sound
from studio.intonation.detection.segments import Event, has_note, same_notes
from studio.intonation.detection.spectra import SHORT, Spectra, analyse, frame_power
from studio.intonation.detection.spectral_evidence import is_stretched
from studio.intonation.percentiles import percentile
from studio.theory import as_ratio, in_cents

# Chosen on made clips, recorded notes, talk and struck strings:
FRAME_HOP = 512  # samples at the analysis rate, a quarter of a frame
CENTS_STEP = 10.0  # of the axis on which a glide is a shift
LOG_HZ = 200.0 * as_ratio(np.arange(0.0, 5200.0, CENTS_STEP))  # to 4 kHz
LOG_REACH = 1.05  # times its end, of spectrum kept
MOST_STEPS = 30  # three semitones between thirds; talk moves no faster
STILL_STEPS = 3  # agreement within 30 cents is no movement: uneven vibrato, slow wander
GLIDE_GAIN = 0.02  # of the correlation, by which moving must agree better than standing still
AGREE = 0.6  # correlation of the thirds when moved; noise agrees by accident, and less
PEAK_DB = 35.0  # of a third's spectrum, from its top down
FLOOR_PERCENTILE, ABOVE_FLOOR_DB = 30.0, 8.0  # the floor of that spectrum, and what stands out
FADES_DB_PER_S = -12.0  # every voice, over the whole event
STRETCHED_PEAKS = 0.4  # a little stretching is enough where everything fades
FADE_S = 0.2  # shorter, a slope is not known
CHANGE_S = 0.3  # the longest change of notes in a room
GHOST_S = 0.42  # the longest ghost; played double stops beside their own note are longer
TOUCH_S = 0.36  # the longest moment of a held note in which another voice means nothing
ADJOIN_S = 0.1  # events no further apart are neighbours
RATIOS = np.array([2.0, 3.0, 4.0, 5.0])  # of a ghost to its note, by definition partials of it
RATIO_CENTS = 60.0  # a ghost is placed by smeared partials
# A Hann window whose sum is 1, by definition: a sinusoid keeps its level.
_HANN = np.hanning(SHORT + 1)[:-1].astype(np.float32)
_HANN /= _HANN.sum()


def plausible(sound: Sound, events: list[Event]) -> list[Event]:
    """Return events without struck strings, and with what is one note made one note.

    Events must have their edges: a glide is told from the whole of it.
    """
    kept: list[Event] = []
    changed: set[int] = set()
    for event in events:
        if len(event.f0_hz) > 1 and fades_as_struck(sound, event):
            continue
        if len(event.f0_hz) > 1 and glides(sound, event):
            _make_single(event, event.f0_hz[:1])
        elif len(event.f0_hz) > 1 and not event.common_bow and _refused(sound, event):
            changed.add(len(kept))
        kept.append(event)
    explained = _explained_by_neighbours(kept)
    for n, f0_hz in explained.items():
        _make_single(kept[n], f0_hz)
    return _merged(kept, changed | set(explained))


def _refused(sound: Sound, event: Event) -> bool:
    """Take out the voices that no bow holds; say whether there were any."""
    held = voicing.held_voices(sound, event.start_s, event.end_s, event.f0_hz, placed=True)
    if len(held) == len(event.f0_hz):
        return False
    stay = [v for v, f0 in enumerate(event.f0_hz) if f0 in held]
    event.alternatives.insert(0, tuple(float(f) for f in event.f0_hz))
    event.f0_hz, event.margin = held, 0.0
    event.voice_start_s = [event.voice_start_s[v] for v in stay]
    event.voice_end_s = [event.voice_end_s[v] for v in stay]
    return True


def glides(sound: Sound, event: Event) -> bool:
    """Say whether everything in an event moves by the same cents, as one gliding voice does."""
    thirds = _thirds(sound, event)
    for i in range(len(thirds)):
        for later in thirds[i + 1 :]:
            agreement = _agreement(thirds[i], later)
            still = agreement[MOST_STEPS - STILL_STEPS : MOST_STEPS + STILL_STEPS + 1].max()
            if agreement.max() > max(AGREE, still + GLIDE_GAIN):
                return True
    return False


def _thirds(sound: Sound, event: Event) -> list[np.ndarray]:
    """Return the spectra of an event's thirds on ``LOG_HZ``, in dB above their floor, >= 0."""
    first = int(event.start_s * sound.fs)
    x = sound.read(first, max(SHORT + 2 * FRAME_HOP, int(event.length_s * sound.fs)))
    pieces = np.lib.stride_tricks.sliding_window_view(x, SHORT)[::FRAME_HOP]
    hz = np.arange(SHORT // 2 + 1) * sound.fs / SHORT
    out = []
    for part in np.array_split(pieces, 3):
        power = (np.abs(np.fft.rfft(part * _HANN, axis=1)) ** 2).mean(axis=0)
        db = 10.0 * np.log10(power + 1e-18)[hz < LOG_REACH * LOG_HZ[-1]]
        floor = percentile(db, FLOOR_PERCENTILE) + ABOVE_FLOOR_DB
        above = np.clip(db - max(db.max() - PEAK_DB, floor), 0.0, None)
        out.append(np.interp(LOG_HZ, hz[: len(db)], above))
    return out


def _agreement(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """Return the correlation of two spectra for ``b`` moved by -MOST_STEPS to MOST_STEPS."""
    inner = a[MOST_STEPS:-MOST_STEPS]
    windows = np.lib.stride_tricks.sliding_window_view(b, len(inner))
    norm = np.sqrt((inner**2).sum() * (windows**2).sum(axis=1)) + 1e-9
    return windows @ inner / norm


def fades_as_struck(sound: Sound, event: Event) -> bool:
    """Say whether every voice fades through the event and some partials are stretched."""
    if event.length_s < FADE_S:
        return False
    env = envelopes(sound, event.start_s, event.end_s, event.f0_hz, np.zeros(0))
    if max(boundaries.slope_db_per_s(db, env.time_s) for db in env.db) > FADES_DB_PER_S:
        return False
    spectra = _pooled(sound, event)
    return any(
        is_stretched(spectra, 0, f, _not_multiples(event.f0_hz, f), STRETCHED_PEAKS)
        for f in event.f0_hz
    )


def _not_multiples(f0_hz: np.ndarray, f0: float) -> np.ndarray:
    """Return the other voices, without those whose partials are all partials of ``f0`` too.

    An octave's upper note leaves the lower one no even partial to show its stretching by.
    """
    others = f0_hz[f0_hz != f0]
    number = np.maximum(1.0, np.rint(others / f0))
    multiple = (number > 1.0) & (np.abs(in_cents(others / f0 / number)) < RATIO_CENTS)
    return others[~multiple]


def _pooled(sound: Sound, event: Event) -> Spectra:
    first = int(event.start_s * sound.fs)
    x = sound.read(first, max(2 * SHORT, int(event.length_s * sound.fs)))
    return analyse(frame_power(x, FRAME_HOP, sound.fs).mean(axis=0)[None], sound.fs)


def _explained_by_neighbours(events: list[Event]) -> dict[int, np.ndarray]:
    """Return which events are single notes in truth, each with the neighbour's note (1,) in Hz."""
    near = [_adjoin(a, b) for a, b in pairwise(events)]
    found = {}
    for n, event in enumerate(events):
        if event.common_bow:
            continue
        if 0 < n < len(events) - 1 and _within_one_note(*events[n - 1 : n + 2]):
            found[n] = events[n + 1].f0_hz
            continue
        before = events[n - 1].f0_hz if n and near[n - 1] else np.zeros(0)
        after = events[n + 1].f0_hz if n + 1 < len(events) and near[n] else np.zeros(0)
        note = _note_of(event, before, after)
        if note is not None:
            found[n] = note
    return found


def _adjoin(a: Event, b: Event) -> bool:
    return b.start_s - a.end_s < ADJOIN_S and not b.new_stroke


def _note_of(event: Event, before: np.ndarray, after: np.ndarray) -> np.ndarray | None:
    """Return the one note that a brief pair is, seen from its neighbours' notes, or None."""
    if len(event.f0_hz) != 2:
        return None
    both = np.sort(np.concatenate([before, after]))
    alone = len(before) == len(after) == 1
    if alone and event.length_s < CHANGE_S and same_notes(both, event.f0_hz):
        return after
    if event.length_s < GHOST_S:
        for beside in (after, before):
            if len(beside) == 1 and _is_ghost_of(event.f0_hz, float(beside[0])):
                return beside
    return None


def _within_one_note(before: Event, event: Event, after: Event) -> bool:
    """Say whether a pair is a moment of the single note that sounds before and after it.

    A ghost may be longer than a voice of any other pitch, which is a string touched or a noise.
    """
    close = max(event.start_s - before.end_s, after.start_s - event.end_s) < ADJOIN_S
    if not close or len(event.f0_hz) != 2 or len(after.f0_hz) != 1:
        return False
    if not same_notes(before.f0_hz, after.f0_hz):
        return False
    note = float(after.f0_hz[0])
    touched = event.length_s < TOUCH_S and has_note(event.f0_hz, note)
    return touched or (event.length_s < GHOST_S and _is_ghost_of(event.f0_hz, note))


def _is_ghost_of(pair: np.ndarray, f0: float) -> bool:
    """Say whether a pair holds the note f0 and another in a whole-number ratio to it."""
    off = np.abs(in_cents(pair[1] / pair[0] / RATIOS))
    return bool(off.min() < RATIO_CENTS and has_note(pair, f0))


def _make_single(event: Event, f0_hz: np.ndarray) -> None:
    event.alternatives.insert(0, tuple(float(f) for f in event.f0_hz))
    event.f0_hz, event.margin = f0_hz.copy(), 0.0
    event.voice_start_s, event.voice_end_s = [event.start_s], [event.end_s]


def _merged(events: list[Event], changed: set[int]) -> list[Event]:
    """Return events with the ``changed`` ones made part of a neighbour of the same note."""
    out: list[Event] = []
    last_changed = False
    for n, event in enumerate(events):
        last = out[-1] if out else None
        asked = last is not None and (n in changed or last_changed)
        if last is None or not asked or not _continues(last, event):
            out.append(event)
        else:
            longer = event if event.length_s > last.length_s else last
            last.f0_hz, last.margin, last.snr_db = longer.f0_hz, longer.margin, longer.snr_db
            last.alternatives, last.doubt = longer.alternatives, longer.doubt
            last.end_s, last.voice_end_s = event.end_s, event.voice_end_s
        last_changed = n in changed
    return out


def _continues(last: Event, event: Event) -> bool:
    return _adjoin(last, event) and same_notes(last.f0_hz, event.f0_hz)
