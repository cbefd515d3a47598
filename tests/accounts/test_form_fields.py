"""A field that is written out here is what Django's own template makes of it, to the letter."""

import datetime

import pytest
from django import forms
from django.forms.renderers import Jinja2

from studio.accounts import form_fields

HOSTILE = """<script>"it's" & more</script>"""
CHOICES = [("", "None"), (1, "One & two"), (HOSTILE, HOSTILE), (None, "Nothing")]
GROUPS = [("Fifths & fourths", [("a", "A"), ("b", "B")]), ("c", "C"), ("", [("d", "D")])]
ATTRS = [
    {},
    {"id": "id_x", "class": "big", "required": True, "disabled": False},
    {"data-said": HOSTILE, HOSTILE: "name", "maxlength": 20, "placeholder": ""},
]
WIDGETS = [
    *(forms.TextInput, forms.NumberInput, forms.HiddenInput, forms.EmailInput),
    *(forms.PasswordInput, forms.URLInput, forms.CheckboxInput, forms.FileInput, forms.DateInput),
    *(forms.Textarea, forms.TimeInput, forms.ClearableFileInput, forms.MultipleHiddenInput),
]
SEVERAL = [
    *(forms.Select, forms.SelectMultiple, forms.RadioSelect, forms.CheckboxSelectMultiple),
    forms.NullBooleanSelect,
]
VALUES = [None, "", "x", HOSTILE, 0, 1.5, True, False, ["x", HOSTILE], datetime.date(2026, 1, 2)]


def both(widget: forms.Widget, value, attrs: dict) -> tuple[str, str]:
    """By the renderer of the settings, and by Django's own."""
    ours, theirs = form_fields.FieldRenderer(), Jinja2()
    return (
        widget.render("field", value, dict(attrs), renderer=ours),
        widget.render("field", value, dict(attrs), renderer=theirs),
    )


@pytest.mark.parametrize("attrs", ATTRS, ids=["none", "usual", "hostile"])
@pytest.mark.parametrize("kind", WIDGETS)
def test_it_is_the_same_to_the_letter(kind, attrs):
    for value in VALUES:
        if kind is forms.MultipleHiddenInput and not isinstance(value, list | None):
            continue
        ours, theirs = both(kind(), value, attrs)
        assert ours == theirs


@pytest.mark.parametrize("attrs", ATTRS, ids=["none", "usual", "hostile"])
@pytest.mark.parametrize("choices", [CHOICES, GROUPS, []], ids=["plain", "groups", "none"])
@pytest.mark.parametrize("kind", SEVERAL)
def test_choices_are_the_same_to_the_letter(kind, choices, attrs):
    for value in ("", "1", HOSTILE, None, ["1", "b"]):
        widget = kind()
        if kind is not forms.NullBooleanSelect:
            widget.choices = choices
        elif isinstance(value, list):
            continue
        ours, theirs = both(widget, value, attrs)
        assert ours == theirs


def test_one_button_of_several_is_the_same():
    class Form(forms.Form):
        kind = forms.ChoiceField(choices=CHOICES, widget=forms.RadioSelect)

    class Theirs(Form):
        default_renderer = Jinja2

    pairs = list(zip(Form()["kind"], Theirs()["kind"], strict=True))
    assert len(pairs) == len(CHOICES)
    assert all(str(ours.tag()) == str(theirs.tag()) for ours, theirs in pairs)


def test_a_choice_with_a_template_of_its_own_goes_to_the_templates():
    class Own(forms.Select):
        option_template_name = "django/forms/widgets/radio_option.html"

    ours, theirs = both(Own(choices=[("a", "A")]), "a", {})
    assert ours == theirs


def test_the_studio_s_forms_are_rendered_so(settings):
    assert isinstance(forms.Form().renderer, form_fields.FieldRenderer)


def test_what_is_typed_opens_nothing():
    said, _ = both(forms.TextInput(), HOSTILE, {})
    assert "<script>" not in said
    assert said.count('"') == 6
