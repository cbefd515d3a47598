"""A clip to be heard, with the truth about it.

Conventions: seconds from the first sample, ``y`` mono float at ``SR`` Hz, pitches in Hz, sizes and
errors in cents. A true size is known exactly where the clip was made to order (the mean of the
voices' own pitch tracks, see ``tests.intonation.estimation.tones.true_size``); ``None`` where the
clip tells only which notes sounded.
"""

from dataclasses import dataclass, field

import numpy as np

from studio.intonation import Options, Policy
from tests.intonation.synth import SIZES, cents

SR = 44_100
WITHIN_CENTS = 4.0  # an octave nearer to pure than this is a class of its own
UNISON_CENTS = 100.0


@dataclass(frozen=True, slots=True)
class TrueEvent:
    """What sounded at once: pitches from low to high; ``size_cents`` of the lowest two."""

    start_s: float
    end_s: float
    f0s_hz: tuple[float, ...]
    size_cents: float | None = None

    @property
    def kind(self) -> str:
        """single, chord, or the name of the interval."""
        if len(self.f0s_hz) != 2:
            return "single" if len(self.f0s_hz) == 1 else "chord"
        return interval_class(cents(self.f0s_hz[1] / self.f0s_hz[0]))


@dataclass(frozen=True, slots=True)
class TrueRun:
    """A double stop played until the pupil was content: its last playing, and what to say of it.

    ``code`` is the mark that a teacher expects, ``None`` where the last playing is in tune.
    """

    start_s: float
    end_s: float
    code: str | None


@dataclass(slots=True)
class Material:
    """A clip, how it was recorded, its truth, and what the listener is told beforehand.

    ``runs`` is ``None`` where the clip asks nothing about marks (its pitches are arbitrary).
    ``twin`` names the same playing under other conditions, so that their cents can be compared.
    """

    condition: str
    y: np.ndarray
    events: list[TrueEvent]
    runs: list[TrueRun] | None = None
    options: Options = field(default_factory=Options)
    policy: Policy = field(default_factory=Policy)
    twin: str | None = None

    @property
    def duration_s(self) -> float:
        return len(self.y) / SR


def interval_class(size_cents: float) -> str:
    """The name of the interval nearest in size; octaves near and not near to pure are two."""
    if size_cents < UNISON_CENTS:
        return "unison"
    if size_cents > 1650.0:
        return "wider"
    name = min(SIZES, key=lambda size: abs(SIZES[size] - size_cents))
    if name == "octave":
        near = abs(size_cents - SIZES["octave"]) <= WITHIN_CENTS
        return "octave within 4 c" if near else "octave"
    return name
