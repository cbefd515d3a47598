"""A clip in which three octaves were heard, for the desk's tests.

C4–C5 twice, first 40 then 30 cents wide (a mark); D4–D5 once, in tune; E4–E5 once, 35 cents
narrow (a mark), each after its two notes played separately. The figures are made up.
"""

from studio.accounts.models import Enrolment
from studio.clips.models import Clip, Listening
from studio.intonation import Measurement
from studio.review.models import Review
from studio.review.waiting import submissions
from studio.theory import Pitch, frequency_of_midi
from tests.cast import make_clip

A4_HZ = 440.0
# (lower note, start_s, deviations in cents of the playings, each 1.2 s long)
PLAYED = (("C4", 4.0, (40.0, 30.0)), ("D4", 12.0, (2.0,)), ("E4", 20.0, (-35.0,)))
HOLD_S, GAP_S = 1.2, 0.3


def measurement(played=PLAYED, duration_s: float = 64.0) -> dict:
    """The stored form of what was heard."""
    events: list[dict] = []
    for low, start_s, deviations in played:
        midi = Pitch.parse(low).midi
        for n, note in enumerate((midi, midi + 12)):
            at = start_s - 1.4 + 0.7 * n
            events.append(_event("single", at, 0.6, [_voice(note, 0.0, at, 0.6)]))
        for n, cents in enumerate(deviations):
            at = start_s + n * (HOLD_S + GAP_S)
            events.append(octave(midi, at, HOLD_S, cents))
    return stored(events, duration_s)


def octave(midi: int, at: float, length: float, cents: float = 0.0) -> dict:
    """A heard octave over a note, ``cents`` too wide."""
    voices = [_voice(midi, 0.0, at, length), _voice(midi + 12, cents, at, length)]
    return _event("double_stop", at, length, voices, 1200.0 + cents)


def stored(events: list[dict], duration_s: float = 64.0) -> dict:
    """The stored form of such events, in the order heard."""
    events = [{"id": number, **event} for number, event in enumerate(events)]
    plain = {
        "schema": 1,
        "engine": "1.0.0",
        "source": {"duration_s": duration_s, "sample_rate_hz": 22050},
        "options": {"instrument": "violin"},
        "reference": {"a4_hz": A4_HZ, "uncertainty_cents": 0.5, "source": "notes"},
        "open_strings": [],
        "events": events,
    }
    return Measurement.from_dict(plain).to_dict()


def heard_clip(enrolment: Enrolment, title: str = "Octaves", **fields) -> Clip:
    clip = make_clip(enrolment, title, has_audio=True, **fields)
    listen_again(clip)
    return clip


def listen_again(clip: Clip, stored: dict | None = None) -> Listening:
    listening = Listening.objects.create(
        clip=clip,
        engine="1.0.0",
        options={},
        input_sha256="0" * 64,
        measurement=stored or measurement(),
    )
    submissions.note_heard(listening)
    return listening


def review_of(clip: Clip) -> Review:
    return Review.objects.get(clip=clip)


def _event(kind: str, at: float, length: float, voices: list, size: float | None = None) -> dict:
    interval = {"low": 0, "high": 1, "size_cents": size, "uncertainty_cents": 0.6, "lock": 0.9}
    return {
        "kind": kind,
        "start_s": at,
        "end_s": at + length,
        "voices": voices,
        "intervals": [interval | {"landing_size_cents": size}] if size is not None else [],
        "confidence": 0.99,
        "quality": {"snr_db": 30.0, "clipped": False},
    }


def _voice(midi: int, cents: float, at: float, length: float) -> dict:
    f0_hz = frequency_of_midi(midi, A4_HZ) * 2 ** (cents / 1200)
    names = ("C", "C#", "D", "Eb", "E", "F", "F#", "G", "G#", "A", "Bb", "B")
    return {
        "midi": midi,
        "pitch": f"{names[midi % 12]}{midi // 12 - 1}",
        "f0_hz": f0_hz,
        "uncertainty_cents": 0.5,
        "landing_f0_hz": f0_hz,
        "start_s": at,
        "end_s": at + length,
        "track": {"start_s": at, "step_s": 0.05, "cents": [0.0, 1.0, None, -1.0]},
    }
