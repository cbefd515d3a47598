"""Groups of intervals that marks are counted by: thirds are both kinds of thirds.

A group's key is stored (``thirds``); :data:`WORDS` says it.
"""

from studio.theory import Interval
from studio.translating import gettext_lazy

OTHERS = "others"
WORDS = {
    "unisons": gettext_lazy("unisons"),
    "thirds": gettext_lazy("thirds"),
    "fourths": gettext_lazy("fourths"),
    "fifths": gettext_lazy("fifths"),
    "sixths": gettext_lazy("sixths"),
    "octaves": gettext_lazy("octaves"),
    "tenths": gettext_lazy("tenths"),
    OTHERS: gettext_lazy("other intervals"),
}
_BY_SEMITONES = {
    0: "unisons",
    3: "thirds",
    4: "thirds",
    5: "fourths",
    7: "fifths",
    8: "sixths",
    9: "sixths",
    12: "octaves",
    15: "tenths",
    16: "tenths",
}


def of_semitones(semitones: int) -> str:
    """The key of the group of an interval of this size."""
    return _BY_SEMITONES.get(semitones, OTHERS)


def of_interval(short: str) -> str:
    """The same by a short name.

    >>> of_interval("m3"), of_interval("P8"), of_interval("M2")
    ('thirds', 'octaves', 'others')
    """
    return of_semitones(Interval.parse(short).semitones)
