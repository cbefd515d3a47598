"""A form's fields, written out in Python: a page has dozens, and some have hundreds of choices.

Django renders each by templates that include one another, for every attribute and every choice
anew: a sixth of the desk's time. What is written here is what its own templates say, character by
character; a kind of field that is not known here goes to them.
"""

from collections.abc import Callable
from typing import Any

from django.forms.renderers import Jinja2
from markupsafe import escape

WIDGETS = "django/forms/widgets/"
OPTION = f"{WIDGETS}select_option.html"
INPUTS = ("text", "number", "hidden", "email", "password", "url", "checkbox", "file", "input")

Widget = dict[str, Any]


class FieldRenderer(Jinja2):
    """For the setting ``FORM_RENDERER``."""

    def render(self, template_name: str, context: dict, request: Any = None) -> str:
        write = _WRITTEN.get(template_name)
        said = write(context["widget"]) if write else None
        return super().render(template_name, context, request) if said is None else said


def _attributes(widget: Widget) -> str:
    return "".join(
        f" {escape(name)}" if value is True else f' {escape(name)}="{escape(value)}"'
        for name, value in widget["attrs"].items()
        if value is not False
    )


def _input(widget: Widget) -> str:
    value = widget["value"]
    said = "" if value is None else f' value="{escape(value)}"'
    return (
        f'<input type="{escape(widget["type"])}" name="{escape(widget["name"])}"{said}'
        f"{_attributes(widget)}>"
    )


def _choice(widget: Widget) -> str:
    """A radio button or a box among others, in its label."""
    if not widget["wrap_label"]:
        return _input(widget)
    of = widget["attrs"].get("id")
    said = f' for="{escape(of)}"' if of else ""
    return f"<label{said}>{_input(widget)} {escape(widget['label'])}</label>"


def _text(widget: Widget) -> str:
    value = widget["value"]
    said = escape(value) if value else ""
    return (
        f'<textarea name="{escape(widget["name"])}"{_attributes(widget)}>\n{said}</textarea>'
    ).strip()


def _select(widget: Widget) -> str | None:
    """``None`` where a choice has a template of its own."""
    parts = [f'<select name="{escape(widget["name"])}"{_attributes(widget)}>']
    for group, options, _ in widget["optgroups"]:
        if any(option["template_name"] != OPTION for option in options):
            return None
        parts += [f'\n  <optgroup label="{escape(group)}">'] if group else []
        parts += [f"\n  {_option(option)}" for option in options]
        parts += ["\n  </optgroup>"] if group else []
    return "".join([*parts, "\n</select>"])


def _option(option: Widget) -> str:
    return (
        f'<option value="{escape(option["value"])}"{_attributes(option)}>'
        f"{escape(option['label'])}</option>"
    )


_WRITTEN: dict[str, Callable[[Widget], str | None]] = {
    **{f"{WIDGETS}{kind}.html": _input for kind in INPUTS},
    **dict.fromkeys((f"{WIDGETS}radio_option.html", f"{WIDGETS}checkbox_option.html"), _choice),
    f"{WIDGETS}select.html": _select,
    f"{WIDGETS}textarea.html": _text,
}
