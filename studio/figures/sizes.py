"""Cents, millimetres, hertz, shares, sizes of files and counts. See the package for the rules."""

from .rounding import downwards, is_known, nearest, said, upwards
from .translation import N_, _, ngettext

MINUS, DASH = "−", "–"
MB = 1_000_000
_ORDINALS = (
    *(N_("first"), N_("second"), N_("third"), N_("fourth"), N_("fifth")),
    *(N_("sixth"), N_("seventh"), N_("eighth"), N_("ninth"), N_("tenth")),
)


def rounds_to_nothing(value: float, digits: int = 0) -> bool:
    """Whether a figure reads 0, and so has no direction."""
    return nearest(value, digits) == 0


def signed(value: float | None, digits: int = 0) -> str:
    """A deviation with its sign and without its unit; a dash where there is none.

    >>> signed(17.6), signed(-7.2), signed(-0.3), signed(None)
    ('+18', '−7', '0', '–')
    """
    if not is_known(value):
        return DASH
    ticks = nearest(value, digits)
    sign = (MINUS if value < 0 else "+") if ticks else ""
    return sign + said(ticks, digits)


def plus_minus(uncertainty: float | None, digits: int = 0) -> str:
    """An uncertainty in cents, short: ``±1 c``; empty where it is not known.

    >>> plus_minus(1.4), plus_minus(0.02), plus_minus(1.0)
    ('±2 c', '±1 c', '±1 c')
    """
    return f"±{_doubt(uncertainty, digits)} c" if is_known(uncertainty) else ""


def uncertainty(value: float, digits: int = 0) -> str:
    """What follows a figure whose unit comes after both: ``± 1``, ``± 0.3``."""
    return f"± {_doubt(value, digits)}"


def cents(value: float, uncertainty: float | None = None, digits: int = 0) -> str:
    """A size without a direction: ``1 cent``, ``18 cents``, ``18 ± 1 cents``."""
    return _in_cents(said(nearest(value, digits), digits), uncertainty, digits)


def signed_cents(value: float | None, uncertainty: float | None = None, digits: int = 0) -> str:
    """A deviation with sign, unit and uncertainty: ``+18 ± 1 cents``; empty where there is none."""
    return _in_cents(signed(value, digits), uncertainty, digits) if is_known(value) else ""


def cents_short(value: float, uncertainty: float | None = None) -> str:
    """A size where there is little room: ``22 ±1 c``, ``22 c``."""
    return f"{nearest(value)} {plus_minus(uncertainty) or 'c'}"


def cents_between(least: float, most: float) -> str:
    """``12 to 18 cents``; one figure where both read the same."""
    low, high = nearest(least), nearest(most)
    if low == high:
        return cents(most)
    return _("%(low)s to %(high)s cents") % {"low": low, "high": high}


def about_mm(value: float) -> str:
    """A way along the string for a pupil's finger: ``about 4 mm``, ``less than 1 mm``."""
    whole = nearest(value)
    return _("about %(mm)s mm") % {"mm": whole} if whole else _("less than 1 mm")


def millimetres(value: float, uncertainty: float | None = None, digits: int = 1) -> str:
    """A length that was measured or computed: ``328 mm``, ``2.3 ± 0.2 mm``; no idle ``.0``."""
    if is_known(uncertainty):
        return f"{said(nearest(value, digits), digits)} ± {_doubt(uncertainty, digits)} mm"
    return f"{number(value, digits)} mm"


def decibels(value: float, uncertainty: float | None = None) -> str:
    """A difference in level without a direction: ``3 dB``, ``3 ± 1 dB``."""
    if is_known(uncertainty):
        return f"{said(nearest(value))} ± {_doubt(uncertainty, 0)} dB"
    return f"{number(value)} dB"


def hertz(value: float, digits: int = 1) -> str:
    """``440.0 Hz``"""
    return f"{said(nearest(value, digits), digits)} Hz"


def beats(rate_hz: float) -> str:
    """How often something beats: ``2.7 beats a second``, ``one beat every 2.5 seconds``."""
    if rate_hz < 1:
        return _("one beat every %(s)s seconds") % {"s": said(nearest(1 / rate_hz, 1), 1)}
    return _("%(rate)s beats a second") % {"rate": said(nearest(rate_hz, 1), 1)}


def percent(part: float, whole: float) -> int:
    """The share of a whole, 0 to 100, floored; 0 of nothing."""
    return min(downwards(100 * part / whole), 100) if whole > 0 else 0


def range_percent(low: float, high: float) -> tuple[int, int]:
    """The ends of a range of shares (0 to 1) in per cent, rounded outwards."""
    return downwards(100 * low), upwards(100 * high)


def megabytes(size_bytes: int) -> str:
    """``12.3 MB``, ``1000 MB``, ``under 0.1 MB``; ``0.0 MB`` only for nothing."""
    if 0 < size_bytes < MB / 10:
        return _("under 0.1 MB")
    digits = 1 if size_bytes < 100 * MB else 0
    return f"{said(nearest(size_bytes / MB, digits), digits)} MB"


def number(value: float, digits: int = 1) -> str:
    """A number without idle noughts: ``328``, ``2.5``."""
    text = said(nearest(value, digits), digits)
    text = text.rstrip("0").removesuffix(_(".")) if digits else text
    return text if text == "0" or value >= 0 else MINUS + text


def count(number: int | None, one: str, many: str) -> str:
    """A number with its noun: ``3 marks``, ``1 mark``, ``no marks``.

    The words stand where it is called, and are collected there in all three forms.
    """
    if not number:
        return _(f"no {many}")
    return ngettext(f"%(count)s {one}", f"%(count)s {many}", number) % {"count": number}


def ordinal(number: int) -> str:
    """first to tenth, then 11th and so on."""
    if 1 <= number <= len(_ORDINALS):
        return _(_ORDINALS[number - 1])
    ending = "th" if number % 100 in (11, 12, 13) else {1: "st", 2: "nd", 3: "rd"}.get(number % 10)
    return f"{number}{ending or 'th'}"


def _in_cents(figure: str, uncertainty: float | None, digits: int) -> str:
    if is_known(uncertainty):
        return _("%(size)s ± %(doubt)s cents") % {
            "size": figure,
            "doubt": _doubt(uncertainty, digits),
        }
    is_one = figure.lstrip(f"+{MINUS}") == "1"
    return (_("%(size)s cent") if is_one else _("%(size)s cents")) % {"size": figure}


def _doubt(uncertainty: float, digits: int) -> str:
    return said(max(1, upwards(uncertainty, digits)), digits)
