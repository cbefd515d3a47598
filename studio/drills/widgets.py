"""A choice among hundreds, written in one go: Django renders a template for every option."""

from django import forms
from django.forms.utils import flatatt
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString


class LongSelect(forms.Select):
    """Looks and works as Django's own; without groups of options."""

    def render(self, name, value, attrs=None, renderer=None) -> SafeString:
        chosen = set(self.format_value(value))
        options = (
            (str(key or ""), " selected" if str(key or "") in chosen else "", label)
            for key, label in self.choices
        )
        given = self.build_attrs(self.attrs, {"name": name, **(attrs or {})})
        written = format_html_join("\n", '<option value="{}"{}>{}</option>', options)
        return format_html("<select{}>{}</select>", flatatt(given), written)
