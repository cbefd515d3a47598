"""Ending letters of some kinds by one press in a mail program (RFC 8058), without a log-in.

The address names the person and the kinds, and is signed: nobody can make one for somebody else. It
works as long as the letter is kept, so it has no end. It opens nothing: it says no name, and all it
can do is to stop letters of these kinds, and to let them come again.
"""

from collections.abc import Iterable
from dataclasses import dataclass

from django.core import signing
from django.urls import reverse

from studio.accounts import links
from studio.accounts.models import Person

from . import telling
from .kinds import Kind, kind_named

SALT = "studio.accounts.letters_off"
#: RFC 8058, section 3.1: the single pair of the header, and what the POST brings (section 3.2).
FIELD, VALUE = "List-Unsubscribe", "One-Click"


@dataclass(frozen=True, slots=True)
class Asked:
    """Whose letters of which kinds an address is about."""

    person: Person
    kinds: tuple[Kind, ...]


def link(person: Person, kinds: Iterable[str]) -> str:
    """The address for letters of these kinds, with scheme and host."""
    said = " ".join([str(person.pk), *kinds])
    token = signing.Signer(salt=SALT).sign(said.replace(" ", "-"))
    return links.site_address() + reverse("letters_off", kwargs={"token": token})


def headers(address: str) -> dict[str, str]:
    """The two headers of RFC 8058, section 3.1; none where the address is not an https one."""
    if not address.startswith("https://"):
        return {}
    return {FIELD: f"<{address}>", f"{FIELD}-Post": f"{FIELD}={VALUE}"}


def asked_by(token: str) -> Asked | None:
    """What an address is about; ``None`` where nobody signed it, or the account is closed."""
    try:
        pk, *names = signing.Signer(salt=SALT).unsign(token).split("-")
        kinds = tuple(kind_named(name) for name in names)
    except (signing.BadSignature, ValueError):
        return None
    person = Person.objects.filter(pk=pk, is_active=True).first()
    return Asked(person, kinds) if person is not None and kinds else None


def set_letters(asked: Asked, *, by_letter: bool) -> None:
    """Let no letters of these kinds come any more, or let them come again; the page stays."""
    chosen = telling.choices_of(asked.person)
    for kind in asked.kinds:
        on_page = chosen[kind.name].on_page
        telling.choose(asked.person, kind.name, on_page=on_page, by_letter=by_letter)
