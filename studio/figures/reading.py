"""Whole numbers as somebody typed them, or an address has them.

``str.isdigit`` is true of ``²``, which ``int`` refuses, and neither knows that a database's whole
numbers end somewhere. Everything from outside is read here.
"""

import re

LARGEST = 2**63 - 1  # of SQLite's and PostgreSQL's whole numbers
_WHOLE = re.compile(r"-?[0-9]{1,19}")


def whole(text: object, low: int = 0, high: int = LARGEST) -> int | None:
    """The number, if the text is one from low to high, both included, in digits 0 to 9.

    >>> whole("12"), whole(" 7 "), whole("-3", low=-7)
    (12, 7, -3)
    >>> whole("²"), whole("1" * 30), whole("13", high=12), whole(""), whole(None)
    (None, None, None, None, None)
    """
    typed = str(text).strip(" ")
    if not _WHOLE.fullmatch(typed):
        return None
    number = int(typed)
    return number if low <= number <= high else None
