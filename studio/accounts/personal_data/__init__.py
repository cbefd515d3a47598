"""What every table answers: whose its rows are, how they are exported, erased and kept.

A module ``personal_data`` of each app says it of the app's tables (of this app's own:
:mod:`.of_accounts`), and ``ready`` of the app loads that. A table that says nothing fails
``tests/accounts/test_every_table_answers.py``, so whatever is built later has to answer too.
"""

from .answers import (
    Emptied,
    Erasure,
    Exported,
    Fields,
    Goes,
    Kept,
    Row,
    Stays,
    Unlinked,
    Withheld,
    fields,
    plain,
)
from .registry import Entry, Impersonal, answer_of, entries, impersonal, register

__all__ = [
    "Emptied",
    "Entry",
    "Erasure",
    "Exported",
    "Fields",
    "Goes",
    "Impersonal",
    "Kept",
    "Row",
    "Stays",
    "Unlinked",
    "Withheld",
    "answer_of",
    "entries",
    "fields",
    "impersonal",
    "plain",
    "register",
]
