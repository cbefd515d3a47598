"""String lengths offered as sizes: of a violin its fraction, of a viola the length of its body.

What makers call a size has no fixed string length, so what was measured in millimetres is better;
a size is what most families know. The lengths: :mod:`studio.theory.instruments`.
"""

from django import forms
from django.utils.translation import gettext as _

from studio import figures
from studio.theory import FRACTIONAL_VIOLIN_MM, VIOLA_BODY_MM
from studio.translating import gettext_lazy

from .models import Instrument

MEASURED = ""  # the choice that is no size
NAMES = {"4/4": gettext_lazy("full size")}
HINT = gettext_lazy(
    "If nobody has measured. Its usual string length is then taken in place of the one below; "
    "makers differ by a centimetre."
)


def _sizes() -> dict[str, tuple[str, float]]:
    """By the value of a choice: the instrument, and its usual string length in mm."""
    violins = {f"violin {size}": ("violin", mm) for size, mm in FRACTIONAL_VIOLIN_MM.items()}
    return violins | {f"viola {inches}": ("viola", mm) for inches, mm in VIOLA_BODY_MM.items()}


SIZES = _sizes()


def _choices() -> list:
    """In the language of whoever reads."""
    violins = [(f"violin {size}", _violin(size)) for size in FRACTIONAL_VIOLIN_MM]
    violas = [(f"viola {inches}", _viola(inches)) for inches in VIOLA_BODY_MM]
    return [
        (MEASURED, gettext_lazy("Measured, in mm below")),
        (gettext_lazy("Violin"), violins),
        (gettext_lazy("Viola, by the length of its body"), violas),
    ]


def size_field() -> forms.ChoiceField:
    label = gettext_lazy("Size")
    return forms.ChoiceField(label=label, choices=_choices, required=False, help_text=HINT)


class SizedForm(forms.Form):
    """A form with ``kind``, ``size`` and ``string_length_mm``; a valid one's data has no size."""

    def clean(self) -> dict:
        said = super().clean() or {}
        size = said.pop("size", MEASURED)
        if size == MEASURED:
            return said
        kind, length_mm = SIZES[size]
        if said.get("kind") not in (None, kind):
            name = Instrument.Kind(kind).label
            self.add_error(
                "size",
                _("This is the size of a %(name)s. Choose %(name)s above, or another.")
                % {"name": name},
            )
        self.errors.pop("string_length_mm", None)
        return said | {"string_length_mm": length_mm}


def _violin(size: str) -> str:
    length = figures.millimetres(FRACTIONAL_VIOLIN_MM[size], digits=0)
    name = NAMES.get(size, size)
    return _("%(size)s (about %(length)s)") % {"size": name, "length": length}


def _viola(inches: str) -> str:
    return _("%(inches)s inches (about %(viola_body_mm)s)") % {
        "inches": inches,
        "viola_body_mm": figures.millimetres(VIOLA_BODY_MM[inches], digits=0),
    }
