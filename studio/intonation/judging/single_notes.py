"""Single notes of a single-line drill, judged against a melodic tuning.

Only where the policy asks for it. Solo players' scales are described equally well by Pythagorean
and equal-tempered scales (Loosen 1993, *J. Acoust. Soc. Am.* 93(1), 525-539); just intonation is
not on offer here.
"""

from collections.abc import Mapping
from types import MappingProxyType

from studio.intonation.judging.interval_naming import Namer
from studio.intonation.model.judgement import JudgedSingle, Mark, severity_of, verdict_of
from studio.intonation.model.measurement import Event, Measurement
from studio.intonation.model.options import Policy
from studio.intonation.model.runs import DOUBTFUL_CONFIDENCE, cents_of
from studio.intonation.model.score_following import ExpectedNote
from studio.theory import Pitch, as_ratio, size_cents
from studio.theory.intervals import interval_between

_A4 = Pitch.parse("A4")


def melodic_frequency(pitch: Pitch, tuning: str, a4_hz: float) -> float:
    """Frequency in Hz of a spelled pitch: equal, or by pure fifths from A4 (pythagorean).

    >>> round(melodic_frequency(Pitch.parse("E5"), "pythagorean", 440.0), 6)
    660.0
    """
    if tuning == "equal":
        return pitch.frequency(a4_hz)
    up = pitch.diatonic >= _A4.diatonic
    interval = interval_between(_A4, pitch) if up else interval_between(pitch, _A4)
    cents = size_cents(interval, tuning)
    assert cents is not None  # a spelled interval always has a Pythagorean size
    return float(a4_hz * as_ratio(cents if up else -cents))


def judge_singles(
    measurement: Measurement,
    policy: Policy,
    namer: Namer,
    broken: set[int],
    written: Mapping[int, ExpectedNote | None] = MappingProxyType({}),
) -> tuple[list[JudgedSingle], list[Mark]]:
    """Judge every single note that is not a broken note of a double stop.

    ``written`` gives the expected note of an event, where a score was followed; ``None`` for one
    that is not to be judged as a melody's.

    A note repeated at once is one run of its own: only its last playing can be marked.
    """
    judged: list[JudgedSingle] = []
    marks: list[Mark] = []
    last: tuple[Event, JudgedSingle] | None = None
    for event in measurement.events:
        if event.kind != "single" or event.id in broken:
            continue
        expected = written.get(event.id)
        if expected is None and event.id in written:
            continue
        single = _judge(event, measurement, policy, namer, expected)
        judged.append(single)
        if last is not None and last[1].pitch != single.pitch:
            marks += _mark(*last, measurement, policy)
        last = (event, single)
    if last is not None:
        marks += _mark(*last, measurement, policy)
    return judged, marks


def _judge(
    event: Event,
    measurement: Measurement,
    policy: Policy,
    namer: Namer,
    expected: ExpectedNote | None,
) -> JudgedSingle:
    voice = event.voices[0]
    a4_hz = measurement.reference.a4_hz
    pitch = Pitch.parse(expected.pitches[0]) if expected else namer.pitch(voice.midi)
    target_hz = melodic_frequency(pitch, policy.melodic_tuning, a4_hz)
    deviation = cents_of(voice.f0_hz, a4_hz) - cents_of(target_hz, a4_hz)
    uncertainty = _uncertainty(event, measurement)
    reason = event.doubt or ("doubtful_notes" if event.confidence < DOUBTFUL_CONFIDENCE else None)
    verdict = "unsure"
    if reason is None:
        verdict, reason = verdict_of(deviation, _tolerance(policy), uncertainty)
    ref = expected.ref if expected else None
    return JudgedSingle(event.id, str(pitch), target_hz, deviation, verdict, reason, ref)


def _uncertainty(event: Event, measurement: Measurement) -> float | None:
    """Of the note against the clip's reference: both may err."""
    own, reference = event.voices[0].uncertainty_cents, measurement.reference.uncertainty_cents
    return None if own is None else (own**2 + (reference or 0.0) ** 2) ** 0.5


def _tolerance(policy: Policy) -> float:
    assert policy.single_tolerance_cents is not None  # set when the policy was made
    return policy.single_tolerance_cents


def _mark(
    event: Event, single: JudgedSingle, measurement: Measurement, policy: Policy
) -> list[Mark]:
    if single.verdict != "out":
        return []
    params = {
        "pitch": single.pitch,
        "at_s": event.start_s,
        "deviation_cents": single.deviation_cents,
        "uncertainty_cents": _uncertainty(event, measurement),
        "tolerance_cents": _tolerance(policy),
    }
    code = "single_sharp" if single.deviation_cents > 0 else "single_flat"
    severity = severity_of(single.deviation_cents, _tolerance(policy))
    ids = (event.id,)
    return [Mark(0, event.start_s, event.end_s, code, ids, None, 0, "settled", severity, params)]
