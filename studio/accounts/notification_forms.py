"""When somebody's letters come: pace, hours, and the time zone that these are meant in."""

from functools import cache
from zoneinfo import available_timezones

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from .models import NotificationTimes
from .notifications import schedule

# Names of places; what IANA's database has beside them are old names and offsets.
REGIONS = (
    *("Africa", "America", "Antarctica", "Asia", "Atlantic", "Australia", "Europe", "Indian"),
    "Pacific",
)
HOURS = [(hour, f"{hour}:00") for hour in range(24)]
WEEKDAYS = [
    (0, gettext_lazy("Monday")),
    (1, gettext_lazy("Tuesday")),
    (2, gettext_lazy("Wednesday")),
    (3, gettext_lazy("Thursday")),
    (4, gettext_lazy("Friday")),
    (5, gettext_lazy("Saturday")),
    (6, gettext_lazy("Sunday")),
]


@cache
def zones() -> tuple[str, ...]:
    """The time zones on offer, by name."""
    known = (name for name in available_timezones() if name.partition("/")[0] in REGIONS)
    return ("UTC", *sorted(known))


def _grouped() -> list:
    groups: dict[str, list] = {}
    for name in zones():
        region, _slash, place = name.partition("/")
        groups.setdefault(region, []).append((name, (place or name).replace("_", " ")))
    return [("", gettext_lazy("The studio’s")), *groups.items()]


def _hour(label) -> forms.TypedChoiceField:
    return forms.TypedChoiceField(choices=HOURS, coerce=int, label=label)


class TimesForm(forms.ModelForm):
    """Refuses quiet hours that are longer than letters are kept."""

    pace = forms.ChoiceField(
        choices=[
            (NotificationTimes.Pace.AT_ONCE, gettext_lazy("As soon as there is something")),
            (NotificationTimes.Pace.DAILY, gettext_lazy("Once a day, all in one")),
            (NotificationTimes.Pace.WEEKLY, gettext_lazy("Once a week, all in one")),
        ],
        label=gettext_lazy("Letters come"),
    )
    hour = _hour(gettext_lazy("Once a day or a week: at"))
    weekday = forms.TypedChoiceField(
        choices=WEEKDAYS, coerce=int, label=gettext_lazy("Once a week: on")
    )
    quiet_from = _hour(gettext_lazy("No letters from"))
    quiet_until = _hour(gettext_lazy("until"))
    time_zone = forms.ChoiceField(
        choices=_grouped, required=False, label=gettext_lazy("Your time zone")
    )

    class Meta:
        model = NotificationTimes
        fields = ("pace", "hour", "weekday", "quiet_from", "quiet_until", "time_zone")

    def clean(self) -> dict:
        said = super().clean()
        if not self.errors:
            hours = schedule.quiet_hours(said["quiet_from"], said["quiet_until"])
            if hours > schedule.LONGEST_QUIET_H:
                sentence = _(
                    "That would be %(hours)s quiet hours, and at most %(most)s can be. Choose a "
                    "later beginning or an earlier end."
                )
                self.add_error(
                    "quiet_until", sentence % {"hours": hours, "most": schedule.LONGEST_QUIET_H}
                )
        return said
