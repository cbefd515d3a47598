"""What a trend says, in words: ``Octaves on the lower strings: closer by 9 ± 3 cents since
September``. Figures are those of :mod:`studio.figures`; uncertainties are one standard deviation.
"""

from collections.abc import Mapping
from datetime import date

from django.utils.translation import gettext as _

from studio import figures
from studio.theory import Key
from studio.theory.fingers import position_name
from studio.translating import gettext_lazy

from .playings import monday_of
from .recordings import Changed
from .statistics.stratified_slope import FEWEST_NOTES, FEWEST_WEEKS
from .subjects import NO_STRINGS, Subject
from .trends import CLOSER, FURTHER, SAME, SAME_BALANCE, SAME_WITHIN, Trend

NOT_CLEAR = gettext_lazy("not clear yet")
# What can be chosen above the answers: a name, its label, values with their words.
CHOICES = (
    (
        "measure",
        gettext_lazy("What"),
        (
            ("settled", gettext_lazy("How close, once adjusted")),
            ("first", gettext_lazy("How close the first time")),
            ("landing", gettext_lazy("How close as it begins")),
            ("steadiness", gettext_lazy("How steady")),
            ("balance", gettext_lazy("How even the two notes are")),
        ),
    ),
    (
        "by",
        "Where",
        (
            ("strings", gettext_lazy("By strings")),
            ("key", gettext_lazy("By key")),
            ("position", gettext_lazy("By position")),
            ("fingers", gettext_lazy("By fingers")),
            ("interval", gettext_lazy("All together")),
        ),
    ),
    (
        "period",
        "When",
        (("year", gettext_lazy("The last year")), ("all", gettext_lazy("From the beginning"))),
    ),
)
# What nearer to the target and further from it are called, by measure.
WORDS = {
    "settled": ("closer", gettext_lazy("further off")),
    "first": (gettext_lazy("first playing closer"), gettext_lazy("first playing further off")),
    "landing": (gettext_lazy("landing closer"), gettext_lazy("landing further off")),
    "steadiness": ("steadier", gettext_lazy("less steady")),
    "balance": (gettext_lazy("more even"), gettext_lazy("less even")),
}
# The names of pairs of neighbouring strings, by the lower one's number: common practice, no source.
PAIRS = {
    (4, 3): gettext_lazy("the lower strings"),
    (3, 2): gettext_lazy("the middle strings"),
    (2, 1): gettext_lazy("the upper strings"),
}
FINGERS = (gettext_lazy("open string"), "first", "second", "third", "fourth")


def statement(trend: Trend, measure: str, today: date) -> str:
    """The whole sentence, without a full stop."""
    return f"{subject(trend.subject)}: {finding(trend, measure, today)}"


def subject(about: Subject) -> str:
    """``Octaves on the lower strings``"""
    word = about.word[:1].upper() + about.word[1:]
    return f"{word} {place}" if (place := place_of(about)) else word


def place_of(about: Subject) -> str:
    """Where: ``on the lower strings``, ``in B♭ major``; empty where nothing is said of it."""
    if about.strings != NO_STRINGS:
        low, high = about.strings
        return f"on {PAIRS.get(about.strings, f'strings {low} and {high}')}"
    if about.key:
        return f"in {Key.parse(about.key).name}"
    if about.position is not None:
        return f"in {position_name(about.position)}"
    return f"with {_fingers(about.fingers)}" if about.fingers else ""


def _fingers(pair: tuple[int, int]) -> str:
    low, high = (
        _(FINGERS[each]) if 0 <= each < len(FINGERS) else _("an unnamed finger") for each in pair
    )
    if low == high:
        return (
            _("two open strings") if pair == (0, 0) else _("%(low)s finger on both") % {"low": low}
        )
    below = _("an open string") if pair[0] == 0 else f"{low} finger"
    above = _("an open string") if pair[1] == 0 else f"{high} finger"
    return _("%(below)s below and %(above)s above") % {"below": below, "above": above}


def finding(trend: Trend, measure: str, today: date) -> str:
    """``closer by 9 ± 3 cents since September``, ``not clear yet``"""
    nearer, further = WORDS[measure]
    if trend.change is None or trend.since is None:
        return NOT_CLEAR
    when = since(trend, today)
    if trend.outcome in (CLOSER, FURTHER):
        by = amount(abs(trend.change), trend.uncertainty, measure)
        return f"{nearer if trend.outcome == CLOSER else further} by {by} {when}"
    if trend.outcome == SAME:
        bound = SAME_BALANCE if measure == "balance" else SAME_WITHIN
        return _("the same %(when)s, within %(bound)s") % {
            "when": when,
            "bound": amount(bound, None, measure),
        }
    return NOT_CLEAR


def since(trend: Trend, today: date) -> str:
    """``since September``; of what has not been played for a while ``from September to March``."""
    first, last = monday_of(trend.since or 0), monday_of(trend.until or 0)
    if (today - last).days <= STILL_DAYS:
        return f"since {figures.month_since(first, today)}"
    return f"from {figures.month_since(first, today)} to {figures.month_since(last, today)}"


STILL_DAYS = 35  # chosen: within five weeks it goes on until now


def amount(value: float, uncertainty: float | None, measure: str) -> str:
    """A size in the measure's unit: ``9 ± 3 cents``, ``2 ± 1 dB``."""
    if measure == "balance":
        return figures.decibels(value, uncertainty)
    return figures.cents(value, uncertainty)


def why_not(trend: Trend) -> str:
    """What is lacking to tell, in a sentence; empty where it is not more playings."""
    if trend.outcome in (CLOSER, FURTHER, SAME):
        return ""
    if trend.slope is not None:
        return ""
    weeks = figures.count(trend.weeks, "week", "weeks")
    return _(
        "It was played in %(weeks)s. To tell, the same double stops are needed in "
        "%(fewest_weeks)s weeks, over a month or more, and %(fewest_notes)s times "
        "at least."
    ) % {"weeks": weeks, "fewest_weeks": FEWEST_WEEKS, "fewest_notes": FEWEST_NOTES}


_CHANGES: Mapping[str, str] = {
    "a4": gettext_lazy(
        "From {day} on the recordings stand at another A4, {by} {way}. Intervals compare all the "
        "same; single notes are compared with the middle of their own clip."
    ),
    "microphone": gettext_lazy(
        "From {day} on the recordings sound different, as with another microphone or "
        "room. Intervals compare all the same; how even the two notes are, only since then."
    ),
}


def changed(change: Changed, today: date) -> str:
    """What is said of another A4 or microphone."""
    return _CHANGES[change.what].format(
        day=figures.day(change.day, today),
        by=figures.cents(abs(change.by)),
        way="higher" if change.by > 0 else "lower",
    )
