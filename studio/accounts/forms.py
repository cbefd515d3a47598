"""Logging in, and what a teacher writes down about a pupil."""

from django import forms
from django.contrib.auth import password_validation
from django.contrib.auth.forms import AuthenticationForm, SetPasswordForm
from django.utils import timezone
from django.utils.translation import gettext as _

from studio.translating import gettext_lazy

from . import access
from .models import Enrolment, Instrument, Invitation, Level, Membership, Person, Studio
from .names import NameField
from .string_sizes import SizedForm, size_field

# From a sixteenth-size violin to a large viola, with room at both ends (common practice).
SHORTEST_STRING_MM, LONGEST_STRING_MM = 170, 420


NOT_TOGETHER = gettext_lazy(
    "This name or address and this password do not belong together. "
    "Look at both once more; capital letters count in the password."
)
AS_TYPED = {"autocapitalize": "none", "autocorrect": "off", "spellcheck": "false"}


class LogInForm(AuthenticationForm):
    """Who, and the password; the answer never says which of them was wrong."""

    error_messages = {"invalid_login": NOT_TOGETHER, "inactive": NOT_TOGETHER}
    username = forms.CharField(
        label=gettext_lazy("Your e-mail address or log-in name"),
        max_length=254,
        widget=forms.TextInput(attrs={"autocomplete": "username", "autofocus": True, **AS_TYPED}),
    )
    password = forms.CharField(
        label=gettext_lazy("Password"),
        help_text=gettext_lazy("Or the code that your guardian made for you."),
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
    )

    def clean_username(self) -> str:
        return self.cleaned_data["username"].strip().lower()


class PupilForm(SizedForm):
    """What the judgement of a pupil's clips depends on."""

    level = forms.ChoiceField(
        choices=Level,
        label=gettext_lazy("Level"),
        help_text=gettext_lazy("Sets how many cents a double stop may be off before it is marked."),
    )
    kind = forms.ChoiceField(choices=Instrument.Kind, label=gettext_lazy("Instrument"))
    size = size_field()
    string_length_mm = forms.FloatField(
        label=gettext_lazy("String length in mm"),
        min_value=SHORTEST_STRING_MM,
        max_value=LONGEST_STRING_MM,
        help_text=gettext_lazy(
            "From the nut to the bridge. A full-size violin has about 328 mm, a viola 360 "
            "to 385 mm; smaller ones differ by maker, so measure."
        ),
    )


class AnsweringForm(forms.ModelForm):
    """What the studio promises, and for how long an answer can be taken back."""

    answer_within_days = forms.IntegerField(
        label=gettext_lazy("Answered within, in days"),
        min_value=1,
        max_value=60,
        help_text=gettext_lazy("What waits longer is shown as late."),
    )
    return_delay_min = forms.IntegerField(
        label=gettext_lazy("Seen after, in minutes"),
        min_value=0,
        max_value=120,
        help_text=gettext_lazy(
            "For so long an answer can be taken back, and nobody sees it. 0: seen at once."
        ),
    )

    class Meta:
        model = Studio
        fields = ("answer_within_days", "return_delay_min")


class InviteForm(forms.Form):
    """Whom to invite; a pupil's year of birth says who decides about consent."""

    name = NameField(label=gettext_lazy("Name"))
    email = forms.EmailField(
        max_length=254,
        label=gettext_lazy("E-mail address"),
        help_text=gettext_lazy("They log in with it."),
    )

    def __init__(self, role: str, studio: Studio, *args, **kwargs) -> None:
        super().__init__(*args, auto_id=f"{role}-%s", **kwargs)
        if role == Membership.Role.PUPIL:
            self.fields["birth_year"] = _birth_year()
        if role == Membership.Role.GUARDIAN:
            self.fields["place"] = PlaceField(studio)
            self.order_fields(["place", "name", "email"])


class LinkForm(forms.Form):
    """A guardian who is in the studio already, for one more child."""

    def __init__(self, studio: Studio, *args, **kwargs) -> None:
        super().__init__(*args, auto_id="link-%s", **kwargs)
        self.fields["place"] = PlaceField(studio)
        guardians = access.members_of(studio, Membership.Role.GUARDIAN)
        self.fields["guardian"] = forms.ModelChoiceField(
            guardians, label=_("Guardian"), empty_label=_("Choose")
        )


class PlaceField(forms.ModelChoiceField):
    """One of the studio's pupils."""

    def __init__(self, studio: Studio) -> None:
        places = access.places_in(studio).order_by("pupil__name", "pk")
        super().__init__(places, label=_("Child"), empty_label=_("Choose"))

    def label_from_instance(self, place: Enrolment) -> str:
        return place.pupil.name


class PasswordTwice(forms.Form):
    """A new password, twice."""

    password = forms.CharField(
        label=gettext_lazy("A password"),
        strip=False,
        help_text=gettext_lazy("At least 8 characters; three or four words are easy to remember."),
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
    )
    again = forms.CharField(
        label=gettext_lazy("The password again"),
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
    )

    def owner(self) -> Person:
        """Whose it will be: it may not be like the name or the address."""
        raise NotImplementedError

    def clean(self) -> dict:
        said = super().clean()
        password, again = said.get("password"), said.get("again")
        if password and again and password != again:
            self.add_error("again", _("The two are not the same. Type the password once more."))
        if password:
            try:
                password_validation.validate_password(password, self.owner())
            except forms.ValidationError as refused:
                self.add_error("password", refused)
        return said


class NewPasswordForm(PasswordTwice):
    """A new password for an account that is there."""

    def __init__(self, person: Person, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self._person = person
        self.fields["password"].label = _("A new password")

    def owner(self) -> Person:
        return self._person


class ByCodeForm(PasswordTwice):
    """What one logs in with, a printed code, and a new password."""

    email = forms.CharField(
        label=gettext_lazy("Your e-mail address or log-in name"),
        max_length=254,
        widget=forms.TextInput(attrs={"autocomplete": "username", "autofocus": True, **AS_TYPED}),
    )
    code = forms.CharField(
        label=gettext_lazy("One of your recovery codes"),
        max_length=60,
        help_text=gettext_lazy(
            "Twenty-four letters and digits. Hyphens and capitals do not matter."
        ),
        widget=forms.TextInput(attrs={"autocomplete": "one-time-code"}),
    )
    field_order = ["email", "code", "password", "again"]

    def __init__(self, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.fields["password"].label = _("A new password")

    def owner(self) -> Person:
        """Only the name or address, known or not: the answer must not tell which."""
        return Person(email=self.cleaned_data.get("email", ""))


class AcceptForm(PasswordTwice):
    """A new account: the name as others see it, and a password, twice."""

    name = NameField(label=gettext_lazy("Your name"))
    field_order = ["name", "password", "again"]

    def __init__(self, invitation: Invitation, *args, **kwargs) -> None:
        super().__init__(*args, initial={"name": invitation.name}, **kwargs)
        self.email = invitation.email

    def owner(self) -> Person:
        return Person(email=self.email, name=self.cleaned_data.get("name", ""))


def _birth_year() -> forms.IntegerField:
    year = timezone.localdate().year
    return forms.IntegerField(
        label=_("Year of birth"),
        min_value=year - 110,
        max_value=year - 2,
        help_text=_(
            "The year alone. For a pupil who is not grown up a guardian has to agree "
            "before clips can be sent."
        ),
    )


class AskForm(forms.Form):
    """Where to send the letter with which a new password is chosen."""

    email = forms.EmailField(
        label=gettext_lazy("E-mail address"),
        max_length=254,
        widget=forms.EmailInput(attrs={"autocomplete": "username", "autofocus": True}),
    )


class ChooseForm(SetPasswordForm):
    """A new password, twice."""

    error_messages = {
        "password_mismatch": gettext_lazy("The two are not the same. Type the password once more.")
    }

    def __init__(self, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        first, again = self.fields["new_password1"], self.fields["new_password2"]
        first.label, again.label = _("A new password"), _("The password again")
        first.help_text = _("At least 8 characters; three or four words are easy to remember.")
        again.help_text = ""
