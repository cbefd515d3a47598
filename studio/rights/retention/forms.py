"""The form on which an owner sets how long what is kept."""

from django import forms

from studio.accounts import retention
from studio.accounts.models import RetentionTerms, Studio
from studio.accounts.retention import WITH_RECORDING, NotTogether, Terms
from studio.accounts.retention_words import AS_LONG, ASKED, SPANS

NO_END = "never"  # of the choice that is no number of days


class TimesForm(forms.Form):
    """A choice for each kind; the times as a whole have to make sense."""

    def __init__(self, studio: Studio, *args, **kwargs) -> None:
        super().__init__(*args, auto_id="times-%s", **kwargs)
        self.now = retention.row_of(studio)
        self.initial = self.initial or {kind: _now(self.now, kind) for kind in ASKED}
        for kind, (label, no_end, hint) in ASKED.items():
            choices = [(NO_END, no_end), *((str(days), _said(days)) for days in SPANS)]
            if kind == "figures":
                choices.insert(0, (str(WITH_RECORDING), AS_LONG.capitalize()))
            self.fields[kind] = forms.ChoiceField(label=label, choices=choices, help_text=hint)

    def clean(self) -> dict:
        said = super().clean() or {}
        try:
            retention.check(self.terms(said))
        except NotTogether as why:
            self.add_error("figures", str(why))
        return said

    def terms(self, said: dict | None = None) -> Terms:
        """The times that were chosen."""
        return Terms(*(self._days(kind, said) for kind in ASKED if kind != "log"))

    @property
    def log_days(self) -> int | None:
        return self._days("log")

    @property
    def is_changed(self) -> bool:
        log_now = self.now.log_days if self.now else None
        return (retention.said_by(self.now), log_now) != (self.terms(), self.log_days)

    def _days(self, kind: str, said: dict | None = None) -> int | None:
        chosen = (self.cleaned_data if said is None else said).get(kind, NO_END)
        return None if chosen == NO_END else int(chosen)


def _now(row: RetentionTerms | None, kind: str) -> str:
    if row is None:
        return str(WITH_RECORDING) if kind == "figures" else NO_END
    days = getattr(row, f"{kind}_days")
    return NO_END if days is None else str(days)


def _said(days: int) -> str:
    words = SPANS[days]
    return f"{words[0].upper()}{words[1:]}"
