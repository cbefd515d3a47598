"""What people change about their own account. What opens it is confirmed with the password."""

from django import forms
from django.contrib.auth import authenticate
from django.http import HttpRequest

from . import lockout
from .forms import NewPasswordForm
from .models import Person

TAKEN = "This address cannot be used here. Choose another, or ask your teacher."


class NameForm(forms.ModelForm):
    class Meta:
        model = Person
        fields = ("name",)

    def __init__(self, *args, **kwargs) -> None:
        super().__init__(*args, auto_id="name-%s", **kwargs)
        self.fields["name"].label = "Your name, as others read it"

    def clean_name(self) -> str:
        return self.cleaned_data["name"].strip()


class Confirmed(forms.Form):
    """Asks for the present password; wrong ones count as wrong log-ins do."""

    present_password = forms.CharField(
        label="Your present password",
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
    )

    def __init__(self, request: HttpRequest, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self._request = request

    def clean_present_password(self) -> str:
        said = self.cleaned_data["present_password"]
        email = self._request.user.email
        if authenticate(self._request, username=email, password=said) is None:
            raise forms.ValidationError("This is not your present password. Type it once more.")
        lockout.was_right(self._request)
        return said


class AddressForm(Confirmed):
    email = forms.EmailField(
        label="Your new e-mail address",
        max_length=254,
        widget=forms.EmailInput(attrs={"autocomplete": "email"}),
    )
    field_order = ["email", "present_password"]

    def __init__(self, request: HttpRequest, *args, **kwargs) -> None:
        super().__init__(request, *args, auto_id="address-%s", **kwargs)

    def clean_email(self) -> str:
        return self.cleaned_data["email"].strip().lower()


class ChangePasswordForm(Confirmed, NewPasswordForm):
    field_order = ["present_password", "password", "again"]

    def __init__(self, request: HttpRequest, *args, **kwargs) -> None:
        forms.Form.__init__(self, *args, auto_id="password-%s", **kwargs)
        self._request, self._person = request, request.user
        self.fields["password"].label = "A new password"


class CodesForm(Confirmed):
    def __init__(self, request: HttpRequest, *args, **kwargs) -> None:
        super().__init__(request, *args, auto_id="codes-%s", **kwargs)
