"""Who teaches each pupil from now on."""

from django import forms
from django.utils.translation import gettext as _

from . import handing_over
from .models import Membership, Person

ALL = "all"


class PersonField(forms.ModelChoiceField):
    def label_from_instance(self, person: Person) -> str:
        return person.name


class HeirsForm(forms.Form):
    """A colleague for all of a teacher's pupils, or for each; what is chosen for one counts.

    With ``everybody`` none may be left without.
    """

    def __init__(self, membership: Membership, *args, everybody: bool = False, **kwargs) -> None:
        super().__init__(*args, auto_id="heir-%s", **kwargs)
        self.everybody = everybody
        self.places = list(handing_over.pupils_of(membership))
        others = Person.objects.filter(
            pk__in=[one.pk for one in handing_over.others_in(membership)]
        ).order_by("name", "pk")
        stays = _("Choose for each") if everybody else _("Nobody else")
        if len(self.places) > 1:
            self.fields[ALL] = PersonField(
                others, required=False, label=_("All pupils"), empty_label=stays
            )
        empty = _("As for all") if len(self.places) > 1 else _("Choose")
        for place in self.places:
            self.fields[_name(place.pk)] = PersonField(
                others, required=False, label=place.pupil.name, empty_label=empty
            )

    def clean(self) -> dict:
        said = super().clean() or {}
        for place in self.places:
            name = _name(place.pk)
            if self.everybody and not self.errors.get(name) and not self._heir(said, place.pk):
                self.add_error(
                    name, _("Choose who teaches %(pupil)s from now on.") % {"pupil": place.pupil}
                )
        return said

    def heirs(self) -> dict[int, Person]:
        """Who was chosen, by the number of the place; a valid form's."""
        chosen = {place.pk: self._heir(self.cleaned_data, place.pk) for place in self.places}
        return {number: heir for number, heir in chosen.items() if heir is not None}

    def _heir(self, said: dict, number: int) -> Person | None:
        return said.get(_name(number)) or said.get(ALL)


class OwnerForm(forms.Form):
    """Which colleague owns the studio from now on."""

    def __init__(self, membership: Membership, *args, **kwargs) -> None:
        super().__init__(*args, auto_id="owner-%s", **kwargs)
        others = [one.pk for one in handing_over.others_in(membership)]
        self.fields["owner"] = PersonField(
            Person.objects.filter(pk__in=others).order_by("name", "pk"),
            label=_("The new owner"),
            empty_label=_("Choose"),
        )


def _name(number: int) -> str:
    return f"place-{number}"
