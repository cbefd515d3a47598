"""Scales as spelled pitches: the 24 keys, with the usual forms of minor.

Natural minor is the key's own notes. Harmonic minor raises the seventh, up and down. Melodic minor
raises sixth and seventh on the way up and takes both back on the way down (common practice, no
source).
"""

from studio.theory import Key, Pitch

_RAISED = {
    ("harmonic", "up"): {7},
    ("harmonic", "down"): {7},
    ("melodic", "up"): {6, 7},
    ("melodic", "down"): set(),
    ("natural", "up"): set(),
    ("natural", "down"): set(),
}


def scale_names(key: Key, form: str = "natural", way: str = "up") -> tuple[str, ...]:
    """The seven pitch names from the tonic; ``form`` counts in minor keys only.

    >>> scale_names(Key.parse("A minor"), "melodic", "up")
    ('A', 'B', 'C', 'D', 'E', 'F#', 'G#')
    """
    if key.mode == "major":
        return key.scale
    raised = _RAISED[form, way]
    return tuple(
        _raise(name) if degree in raised else name for degree, name in enumerate(key.scale, 1)
    )


def _raise(name: str) -> str:
    pitch = Pitch.parse(f"{name}4")
    return Pitch(pitch.step, pitch.alter + 1, 4).pitch_class_name


def step_up(pitch: Pitch, steps: int, names: tuple[str, ...]) -> Pitch:
    """The pitch some scale steps above (or below) another, spelled in the scale.

    Parameters
    ----------
    pitch : one whose letter belongs to the scale
    steps : scale steps, negative for down
    names : the scale, one name for each letter
    """
    octave, letter = divmod(pitch.diatonic + steps, 7)
    step = "CDEFGAB"[letter]
    name = next(name for name in names if name[0] == step)
    return Pitch.parse(f"{name}{octave}")


def double_stops(
    tonic: Pitch, number: int, octaves: int, names_up: tuple[str, ...], names_down: tuple[str, ...]
) -> tuple[list[tuple[Pitch, Pitch]], list[tuple[Pitch, Pitch]]]:
    """A scale in one interval: its double stops going up, and going down.

    ``tonic`` is the lowest note of the lower voice; ``number`` the interval's (a third is 3). Both
    ways hold the lowest and the highest.
    """
    count = 7 * octaves + 1
    up = [_pair(tonic, degree, number, names_up) for degree in range(count)]
    down = [_pair(tonic, degree, number, names_down) for degree in reversed(range(count))]
    return up, down


def _pair(tonic: Pitch, degree: int, number: int, names: tuple[str, ...]) -> tuple[Pitch, Pitch]:
    return step_up(tonic, degree, names), step_up(tonic, degree + number - 1, names)
