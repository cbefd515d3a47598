"""Who agreed to what, and when: with the words as they were, in the version that was agreed to.

Names of teachers in them are those of today; the versions keep the words alone.
"""

from dataclasses import asdict, dataclass

from studio.accounts import consent_text, consent_words, retention
from studio.accounts.consent_text import ConsentText
from studio.accounts.models import Consent
from studio.accounts.personal_data import fields
from studio.rights.access import Scope

from .archive import Archive

CONSENTS = "consent.json"
_row = fields(
    *("purpose", "version", "given_by", "given_at", "withdrawn_by", "withdrawn_at"),
    *("rests_since", "superseded_at"),
)


@dataclass(frozen=True, slots=True)
class Agreed:
    """One consent and its words, None where no version of that number is known."""

    row: Consent
    text: ConsentText | None


def write(archive: Archive, scope: Scope) -> list[Agreed]:
    """Write the record of the lessons' consents; what the page shows of it."""
    rows = Consent.objects.filter(pupil=scope.person, studio=scope.studio)
    found = [
        Agreed(row, _text(row, scope))
        for row in rows.select_related("given_by", "withdrawn_by", "terms")
    ]
    said = [_row(each.row) | {"words": each.text and asdict(each.text)} for each in found]
    archive.json(CONSENTS, said)
    return found


def _text(row: Consent, scope: Scope) -> ConsentText | None:
    words = consent_words.of_version(row.purpose, row.version)
    if words is None or scope.place is None:
        return None
    by_pupil = row.given_by_id == scope.person.pk
    return consent_text.text(words, scope.place, by_pupil, retention.said_by(row.terms))
