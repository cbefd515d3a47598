"""The zone that a calendar's file means by a name.

Windows' names are those of Unicode CLDR (common/supplemental/windowsZones.xml) as the library
``icalendar`` has them. A name may also be the database's own behind the name of whoever sent it,
such as ``/example.org/2005_1/Europe/Berlin`` (RFC 5545, 3.2.19 on the leading solidus).
"""

from functools import cache
from zoneinfo import available_timezones

from icalendar.timezone.windows_to_olson import WINDOWS_TO_OLSON


@cache
def _known() -> dict[str, str]:
    return {name.casefold(): name for name in available_timezones()}


def zone_meant(name: str) -> str | None:
    """The database's name for it; ``None`` where it is not known.

    >>> zone_meant("W. Europe Standard Time"), zone_meant("/x.org/1/America/New_York")
    ('Europe/Berlin', 'America/New_York')
    """
    said = name.strip().strip('"')
    if said in WINDOWS_TO_OLSON:
        return WINDOWS_TO_OLSON[said]
    parts = said.strip("/").split("/")
    for many in (len(parts), 3, 2, 1):
        found = _known().get("/".join(parts[-many:]).casefold())
        if found and many <= len(parts):
            return found
    return None
