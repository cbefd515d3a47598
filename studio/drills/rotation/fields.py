"""Form fields for a teacher's own lists, each a text of lines."""

from typing import Any

from django import forms
from django.utils.translation import gettext as _

from studio.translating import gettext_lazy

from . import lists


class _Lines(forms.CharField):
    """Lines that become plain values; ``initial`` is plain values too."""

    def __init__(self, rows: int, **more) -> None:
        widget = forms.Textarea(attrs={"rows": rows})
        super().__init__(widget=widget, max_length=lists.MAX_LINES * lists.MAX_LINE * 2, **more)

    def prepare_value(self, value: Any) -> str:
        return value if isinstance(value, str) else self.written(value or ())

    def written(self, value: Any) -> str:
        raise NotImplementedError

    def read(self, text: str) -> Any:
        raise NotImplementedError

    def clean(self, value: Any) -> Any:
        text = super().clean(value)
        try:
            return self.read(text)
        except lists.Unreadable as error:
            raise forms.ValidationError(str(error)) from error


class LessonsField(_Lines):
    """The keys of each lesson of a round."""

    def __init__(self, **more) -> None:
        usual = {
            "label": gettext_lazy("Keys, a lesson a line"),
            "help_text": gettext_lazy(
                "In your order, with a comma between the keys of a lesson. Leave out "
                "what you do not teach."
            ),
            "error_messages": {"required": gettext_lazy("Write the keys of one lesson at least.")},
        }
        super().__init__(rows=14, **usual | more)

    def written(self, value: Any) -> str:
        return lists.lessons_text(value)

    def read(self, text: str) -> tuple[lists.LessonKeys, ...]:
        return lists.read_lessons(text)


class RoundsField(_Lines):
    """What each round is in, and where it is played."""

    def __init__(self, **more) -> None:
        usual = {
            "label": gettext_lazy("Rounds, a line each"),
            "error_messages": {"required": gettext_lazy("Write one round at least.")},
        }
        super().__init__(rows=3, **usual | more)
        self._known: tuple[str, ...] = ()

    def know(self, intervals: tuple[str, ...]) -> None:
        """The words for intervals, in the studio's order."""
        self._known = intervals
        self.help_text = _(
            "Each goes through the keys once. Intervals (%(intervals)s), where they are"
            " played (%(values)s), and how far the lower note goes (%(values_2)s)."
        ) % {
            "intervals": ", ".join(map(str, intervals)),
            "values": ", ".join(map(str, lists.PLACES.values())),
            "values_2": ", ".join(map(str, lists.RANGES.values())),
        }

    def written(self, value: Any) -> str:
        return lists.rounds_text(value)

    def read(self, text: str) -> tuple[lists.RoundSettings, ...]:
        return lists.read_rounds(text, self._known)


class LinesField(_Lines):
    """Lines in the teacher's own words."""

    def __init__(self, **more) -> None:
        super().__init__(rows=5, required=False, **more)

    def written(self, value: Any) -> str:
        return "\n".join(map(str, value))

    def read(self, text: str) -> tuple[str, ...]:
        return lists.read_lines(text)
