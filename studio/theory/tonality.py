"""The key that a set of heard notes most likely belongs to, for spelling only.

A key fits by the share of the notes (weighted by how long they sounded) that are in its scale;
in minor the raised sixth and seventh count too. Among keys that fit alike, the one whose tonic
and fifth sound longest is taken. This is a plain count, not a model of listening: it is used to
choose between E flat and D sharp, never to judge.
"""

from collections.abc import Mapping

from studio.theory.keys import ALL_KEYS, Key

LEAST_SHARE = 0.9  # of the notes that must be in the scale
LEAST_PITCH_CLASSES = 5  # fewer fit too many keys
TRIAD_WEIGHT = 0.1  # of tonic and fifth against the share in the scale


def likely_key(heard: Mapping[int, float]) -> Key | None:
    """The likeliest of the 24 keys, or ``None`` when too little was heard or none fits.

    Parameters
    ----------
    heard : weights > 0 (such as seconds) by MIDI number

    Examples
    --------
    >>> scale = {midi: 1.0 for midi in (63, 65, 67, 68, 70, 72, 74, 75)}
    >>> str(likely_key(scale))
    'Eb major'
    """
    classes: dict[int, float] = {}
    for midi, weight in heard.items():
        classes[midi % 12] = classes.get(midi % 12, 0.0) + weight
    total = sum(classes.values())
    if len(classes) < LEAST_PITCH_CLASSES or total <= 0.0:
        return None
    fits = {key: _fit(key, classes, total) for key in ALL_KEYS}
    best = max(ALL_KEYS, key=lambda key: fits[key])
    share = _share(best, classes, total)
    return best if share >= LEAST_SHARE else None


def _share(key: Key, classes: Mapping[int, float], total: float) -> float:
    inside = sum(w for note, w in classes.items() if key.contains(key.spell(60 + note)))
    return inside / total


def _fit(key: Key, classes: Mapping[int, float], total: float) -> float:
    tonic = (7 * key.fifths) % 12
    triad = classes.get(tonic, 0.0) + 0.5 * classes.get((tonic + 7) % 12, 0.0)
    # Nine notes of a melodic minor hold more than the seven of a major key: hold that against it.
    size = 2.0 if key.mode == "minor" else 0.0
    return _share(key, classes, total) + TRIAD_WEIGHT * triad / total - 0.01 * size
