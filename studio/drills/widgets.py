"""A choice among hundreds, written in one go: Django renders a template for every option."""

from django import forms
from django.forms.utils import flatatt
from django.utils.html import escape, format_html
from django.utils.safestring import SafeString, mark_safe


class LongSelect(forms.Select):
    """Looks and works as Django's own; without groups of options."""

    def render(self, name, value, attrs=None, renderer=None) -> SafeString:
        chosen = set(self.format_value(value))
        given = self.build_attrs(self.attrs, {"name": name, **(attrs or {})})
        options = []
        for key, label in self.choices:
            value = str(key or "")
            selected = " selected" if value in chosen else ""
            options.append(f'<option value="{escape(value)}"{selected}>{escape(label)}</option>')
        written = mark_safe("\n".join(options))  # each was escaped
        return format_html("<select{}>{}</select>", flatatt(given), written)
