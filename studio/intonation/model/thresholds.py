"""The thresholds: when a deviation is in tune, near, out, or too doubtful to say."""

SURE = 2.0  # standard deviations
SEVERE = (2.0, 3.0)  # times the tolerance at which severity becomes 2 and 3
CLOSE_TO_LIMIT = "close_to_limit"


def verdict_of(
    deviation_cents: float, tolerance_cents: float, uncertainty_cents: float | None
) -> tuple[str, str | None]:
    """(verdict, reason) of a deviation; the reason is ``None`` unless the verdict is unsure."""
    if uncertainty_cents is None:
        return "unsure", "not_measured"
    off, doubt = abs(deviation_cents), SURE * uncertainty_cents
    if off > tolerance_cents:
        return ("out", None) if off - tolerance_cents > doubt else ("unsure", CLOSE_TO_LIMIT)
    if doubt > tolerance_cents:
        return "unsure", "too_uncertain"
    return ("in_tune" if off <= tolerance_cents / 2.0 else "near"), None


def severity_of(
    deviation_cents: float, tolerance_cents: float, steps: tuple[float, float] = SEVERE
) -> int:
    """1 to 3, by how many times the tolerance the deviation is."""
    return 1 + sum(abs(deviation_cents) >= step * tolerance_cents for step in steps)
