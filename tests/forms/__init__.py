"""Every form of the studio, by the name of the address it posts to.

A new address that takes a POST needs its entry here, beside its row in tests/addresses.py:
that table's test fails without. tests/browser/test_every_form.py tries each of them in a browser.
"""

from . import account, desk, drills, operations, pages, people, reports, rights, timetable
from .form import Form

FORMS: dict[str, list[Form]] = {
    **people.FORMS,
    **account.FORMS,
    **drills.FORMS,
    **pages.FORMS,
    **desk.FORMS,
    **operations.FORMS,
    **rights.FORMS,
    **reports.FORMS,
    **timetable.FORMS,
}
