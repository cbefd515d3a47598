"""Logging in, and what a teacher writes down about a pupil."""

from django import forms
from django.contrib.auth.forms import AuthenticationForm

from .models import Instrument, Level

# From a sixteenth-size violin to a large viola, with room at both ends (common practice).
SHORTEST_STRING_MM, LONGEST_STRING_MM = 170, 420


class LogInForm(AuthenticationForm):
    """The e-mail address and the password; the answer never says which of them was wrong."""

    error_messages = {
        "invalid_login": "This address and this password do not belong together. "
        "Look at both once more; capital letters count in the password.",
        "inactive": "This address and this password do not belong together. "
        "Look at both once more; capital letters count in the password.",
    }
    username = forms.EmailField(
        label="E-mail address",
        max_length=254,
        widget=forms.EmailInput(attrs={"autocomplete": "username", "autofocus": True}),
    )
    password = forms.CharField(
        label="Password",
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
    )

    def clean_username(self) -> str:
        return self.cleaned_data["username"].strip().lower()


class PupilForm(forms.Form):
    """What the judgement of a pupil's clips depends on."""

    level = forms.ChoiceField(
        choices=Level,
        label="Level",
        help_text="Sets how many cents a double stop may be off before it is marked.",
    )
    kind = forms.ChoiceField(choices=Instrument.Kind, label="Instrument")
    string_length_mm = forms.FloatField(
        label="String length in mm",
        min_value=SHORTEST_STRING_MM,
        max_value=LONGEST_STRING_MM,
        help_text="From the nut to the bridge. A full-size violin has about 328 mm, a viola 360 "
        "to 385 mm; smaller ones differ by maker, so measure.",
    )
