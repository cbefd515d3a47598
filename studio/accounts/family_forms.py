"""Inviting a family, and coming in as one."""

from django import forms
from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator
from django.http import QueryDict
from django.utils import timezone
from django.utils.translation import gettext as _

from studio.translating import gettext_lazy

from . import child_log_in, families
from .consent import GROWN_UP_AGE
from .families import MOST_CHILDREN, ChildNamed, ChildTaken
from .forms import AS_TYPED, LONGEST_STRING_MM, SHORTEST_STRING_MM, AcceptForm
from .models import Instrument, Invitation, InvitedChild, Person, Studio
from .names import NameField
from .string_sizes import SizedForm, size_field

GROWN_UP = gettext_lazy("Whoever was born then is grown up, and is invited alone, as a pupil.")
TOO_YOUNG = gettext_lazy("Look at the year once more: a pupil is at least two years old.")
YOUNGEST = 2  # years
TAKEN = gettext_lazy("Somebody logs in with this name already. Choose another.")


# -- the teacher's -------------------------------------------------------------------------


class GuardianForm(forms.Form):
    """Whom the invitation goes to."""

    name = NameField(label=gettext_lazy("Guardian’s name"))
    email = forms.EmailField(
        max_length=254,
        label=gettext_lazy("Guardian’s e-mail address"),
        help_text=gettext_lazy("They log in with it."),
    )


class ChildForm(SizedForm):
    """One child of the family; no address is asked for."""

    name = NameField(label=gettext_lazy("Child’s name"))
    birth_year = forms.IntegerField(label=gettext_lazy("Year of birth"))
    kind = forms.ChoiceField(
        choices=Instrument.Kind, label=gettext_lazy("Instrument"), initial=Instrument.Kind.VIOLIN
    )
    size = size_field()
    string_length_mm = forms.FloatField(
        label=gettext_lazy("String length in mm"),
        required=False,
        min_value=SHORTEST_STRING_MM,
        max_value=LONGEST_STRING_MM,
        help_text=gettext_lazy(
            "Left open: that of a full size, 328 for a violin and 370 for a viola."
        ),
    )

    def __init__(self, *args, **kwargs) -> None:
        super().__init__(*args, use_required_attribute=False, **kwargs)
        year = timezone.localdate().year
        self.fields["birth_year"].validators += [
            MinValueValidator(year - GROWN_UP_AGE, GROWN_UP),
            MaxValueValidator(year - YOUNGEST, TOO_YOUNG),
        ]


class FamilyForm:
    """A guardian and one to six children; rows without anything in them are left out."""

    def __init__(self, data: QueryDict | None = None, rows: int = 1) -> None:
        if data is not None:
            rows = sum(f"child{n}-name" in data for n in range(MOST_CHILDREN)) or 1
        self.guardian = GuardianForm(data, auto_id="family-%s")
        self.children = [
            ChildForm(data, prefix=f"child{n}", auto_id="family-%s", empty_permitted=n > 0)
            for n in range(rows)
        ]

    @property
    def may_grow(self) -> bool:
        return len(self.children) < MOST_CHILDREN

    def grown(self, data: QueryDict) -> "FamilyForm":
        """The same as typed, with room for one more child, and nothing refused yet."""
        more = FamilyForm(rows=min(len(self.children) + 1, MOST_CHILDREN))
        for form in (more.guardian, *more.children):
            form.initial = {name: data.get(form.add_prefix(name), "") for name in form.fields}
        more.children[-1].initial = {"kind": Instrument.Kind.VIOLIN}
        return more

    def is_valid(self) -> bool:
        valid = [form.is_valid() for form in (self.guardian, *self.children)]  # each says its own
        return all(valid)

    def named(self) -> list[ChildNamed]:
        said = [form.cleaned_data for form in self.children]
        return [ChildNamed(**one) for one in said if one.get("name")]


class OwnLoginForm(forms.ModelForm):
    own_login_age = forms.IntegerField(
        label=gettext_lazy("From this age, in years"),
        min_value=0,
        max_value=18,
        help_text=gettext_lazy(
            "A family’s invitation then proposes a log-in of the child’s own. Below it the "
            "guardian sends for the child, and can make a log-in all the same. Local law may "
            "ask for "
            "another age."
        ),
    )

    class Meta:
        model = Studio
        fields = ("own_login_age",)


# -- the guardian's ------------------------------------------------------------------------


class TakenForm(forms.Form):
    """What a guardian says of one child."""

    name = NameField(label=gettext_lazy("Name, as others see it"))
    agrees = forms.BooleanField(required=False)
    logs_in = forms.BooleanField(required=False)
    login_name = forms.CharField(
        required=False,
        label=gettext_lazy("Log-in name"),
        max_length=child_log_in.LONGEST,
        widget=forms.TextInput(attrs={"autocomplete": "off", **AS_TYPED}),
    )

    def __init__(self, invited: InvitedChild, studio: Studio, known: list[Person], *args, **kwargs):
        super().__init__(*args, prefix=f"child{invited.pk}", **kwargs)
        self.invited, self._known = invited, {str(person.pk): person for person in known}
        first = (invited.name.split() or [invited.name])[0]
        self.proposes_log_in = families.proposes_log_in(invited, studio)
        self.first_name = first
        self.fields["name"].initial = invited.name
        self.fields["agrees"].label = _("I agree to recordings of %(first)s") % {"first": first}
        self.fields["logs_in"].label = _("%(first)s logs in too, with a name and a code") % {
            "first": first
        }
        self.fields["logs_in"].initial = self.proposes_log_in
        self.fields["login_name"].initial = child_log_in.proposed(invited.name)
        if known:
            self.fields["already"] = forms.ChoiceField(
                required=False,
                label=_("Is %(first)s here or elsewhere already?") % {"first": first},
                choices=[("", _("No, new")), *((pk, one.name) for pk, one in self._known.items())],
                initial=next(
                    (pk for pk, one in self._known.items() if one.name == invited.name), ""
                ),
            )

    def clean(self) -> dict:
        said = super().clean()
        if said.get("logs_in"):
            try:
                child_log_in.validate(said.get("login_name", ""))
            except ValidationError as refused:
                self.add_error("login_name", refused)
        return said

    def taken(self) -> ChildTaken:
        said = self.cleaned_data
        return ChildTaken(
            self.invited,
            said["name"],
            said["agrees"],
            said["login_name"] if said["logs_in"] else "",
            self._known.get(said.get("already", "")),
        )


class ComingForm:
    """The guardian's own account, where she has none, and each of her children."""

    def __init__(self, offered: Invitation, account: Person | None, data: QueryDict | None = None):
        known = families.children_of(account) if account else []
        self.account = None if account else AcceptForm(offered, data)
        self.children = [
            TakenForm(child, offered.studio, known, data) for child in offered.children.all()
        ]

    def is_valid(self) -> bool:
        forms_in = [self.account] if self.account else []
        valid = [form.is_valid() for form in (*forms_in, *self.children)]
        return all(valid) and not self._said_twice()

    def _said_twice(self) -> bool:
        """Whether two children want one name, or are said to be the same."""
        names: set[str] = set()
        people: set[int] = set()
        for form in self.children:
            taken = form.taken()
            name = taken.login_name.strip().lower()
            if name and (name in names or child_log_in.is_taken(name)):
                form.add_error("login_name", TAKEN)
            if taken.already and taken.already.pk in people:
                form.add_error("already", _("You chose the same child twice."))
            names.add(name)
            people |= {taken.already.pk} if taken.already else set()
        return any(form.errors for form in self.children)

    def refuse_name(self) -> None:
        """Somebody took a log-in name in the meantime."""
        for form in self.children:
            if form.cleaned_data.get("logs_in"):
                form.add_error("login_name", TAKEN)
