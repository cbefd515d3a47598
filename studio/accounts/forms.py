"""Logging in."""

from django import forms
from django.contrib.auth.forms import AuthenticationForm


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
