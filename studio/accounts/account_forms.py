"""What people change about their own account. What opens it is confirmed with the password."""

from django import forms
from django.contrib.auth import authenticate
from django.http import HttpRequest
from django.utils.translation import gettext as _

from studio.translating import gettext_lazy

from . import address_changes, lockout, second_step
from .consent import is_grown_up
from .forms import NewPasswordForm
from .models import Person
from .names import NameField

NAMED_BY_GUARDIAN = gettext_lazy("Your guardian chose your log-in name, and can change it.")
NOBODY_AGREES = gettext_lazy(
    "A guardian has to agree to this, and nobody decides for you at present. Ask your teacher to "
    "invite your guardian. Until then you log in as before."
)
TAKEN = gettext_lazy("This address cannot be used here. Choose another, or ask your teacher.")


class NameForm(forms.ModelForm):
    name = NameField(label=gettext_lazy("Your name, as others read it"))

    class Meta:
        model = Person
        fields = ("name",)

    def __init__(self, *args, **kwargs) -> None:
        super().__init__(*args, auto_id="name-%s", **kwargs)

    def clean_name(self) -> str:
        return self.cleaned_data["name"].strip()


WRONG_CODE = gettext_lazy(
    "This is not the present code. Take the newest one from your phone; each works once, for half "
    "a minute."
)
WAIT = gettext_lazy(
    "The code was wrong several times. Wait a little, a minute at first, and try again."
)


def code_field() -> forms.CharField:
    """Where a code from the phone, or a printed one, is typed."""
    return forms.CharField(
        label=_("The code from your phone"),
        max_length=60,
        help_text=_("Six digits. Without the phone: one of the codes that you printed for it."),
        widget=forms.TextInput(attrs={"autocomplete": "one-time-code", "inputmode": "text"}),
    )


class Confirmed(forms.Form):
    """Asks for the present password, and for a code where the second step is on.

    Wrong passwords count as wrong log-ins do. The code is looked at last, as it works once.
    """

    present_password = forms.CharField(
        label=gettext_lazy("Your present password"),
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
    )

    def __init__(self, request: HttpRequest, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self._request = request
        self._ask_for_code()

    def _ask_for_code(self) -> None:
        if second_step.is_on(self._request.user):
            self.fields["phone_code"] = code_field()

    def clean(self) -> dict:
        said = super().clean()
        if "phone_code" in self.fields and not self.errors:
            refused = code_refused(self._request, self._request.user, said["phone_code"])
            if refused:
                self.add_error("phone_code", refused)
        return said

    def clean_present_password(self) -> str:
        said = self.cleaned_data["present_password"]
        name = self._request.user.logs_in_with
        if authenticate(self._request, username=name, password=said) is None:
            raise forms.ValidationError(_("This is not your present password. Type it once more."))
        lockout.was_right(self._request)
        return said


class AddressForm(Confirmed):
    email = forms.EmailField(
        label=gettext_lazy("Your new e-mail address"),
        max_length=254,
        widget=forms.EmailInput(attrs={"autocomplete": "email"}),
    )
    field_order = ["email", "present_password"]

    def __init__(self, request: HttpRequest, *args, **kwargs) -> None:
        super().__init__(request, *args, auto_id="address-%s", **kwargs)

    def clean_email(self) -> str:
        """A child's account stays in her guardian's hands, who chose its log-in name."""
        person = self._request.user
        if not person.email and is_grown_up(person) is False:
            raise forms.ValidationError(NAMED_BY_GUARDIAN)
        if address_changes.nobody_agrees(person):
            raise forms.ValidationError(NOBODY_AGREES)
        return self.cleaned_data["email"].strip().lower()


class ChangePasswordForm(Confirmed, NewPasswordForm):
    field_order = ["present_password", "password", "again"]

    def __init__(self, request: HttpRequest, *args, **kwargs) -> None:
        forms.Form.__init__(self, *args, auto_id="password-%s", **kwargs)
        self._request, self._person = request, request.user
        self._ask_for_code()
        self.fields["password"].label = _("A new password")


class CodesForm(Confirmed):
    def __init__(self, request: HttpRequest, *args, **kwargs) -> None:
        super().__init__(request, *args, auto_id="codes-%s", **kwargs)


class SecondStepForm(Confirmed):
    """Sets the second step up, makes new printed codes for it, or switches it off."""

    def __init__(self, request: HttpRequest, *args, **kwargs) -> None:
        super().__init__(request, *args, auto_id="second-%s", **kwargs)


class AgainForm(Confirmed):
    """Who is logged in shows it once more."""


class CodeForm(forms.Form):
    """The second step of a log-in; or, with a ``device`` that waits, its first code."""

    def __init__(self, request: HttpRequest, person: Person, *args, device=None, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self._request, self._person, self._device = request, person, device
        self.codes: list[str] = []
        self.status = 422
        self.fields["code"] = code_field()
        if device is not None:
            self.fields["code"].help_text = _("Six digits, which the app shows now.")
            return
        self.fields["code"].widget.attrs["autofocus"] = True
        self.fields["spare"] = forms.BooleanField(
            required=False,
            label=_("Do not ask on this device for 30 days"),
            help_text=_("Only where nobody but you uses it."),
        )

    def clean_code(self) -> str:
        code = self.cleaned_data["code"]
        try:
            if self._device is None:
                right = second_step.is_right(self._request, self._person, code)
            else:
                self.codes = second_step.confirm(self._request, self._device, code) or []
                right = bool(self.codes)
        except second_step.MustWait:
            self.status = 429
            raise forms.ValidationError(WAIT) from None
        if not right:
            raise forms.ValidationError(WRONG_CODE)
        return code


def code_refused(request: HttpRequest, person: Person, code: str) -> str:
    """Why a code is not taken; empty when it is."""
    try:
        return "" if second_step.is_right(request, person, code) else WRONG_CODE
    except second_step.MustWait:
        return WAIT
