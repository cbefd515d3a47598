"""Read one calendar's file, in a process with bounds.

``python child.py ROOT INPUT ZONE FIRST LAST`` prints one JSON object: ``{"refused": code}``, or
``rows`` and ``breaks_off`` (:mod:`.reading`). Days are ISO 8601.
"""

import json
import sys
from datetime import date
from pathlib import Path


def read(path: str, zone: str, first: str, last: str) -> dict:
    from studio.drills.timetable.foreign.events import NotACalendar
    from studio.drills.timetable.foreign.reading import lessons_in

    days = {"first": date.fromisoformat(first), "last": date.fromisoformat(last)}
    try:
        return lessons_in(Path(path).read_bytes(), zone=zone, **days)
    except NotACalendar as error:
        return {"refused": str(error)}


if __name__ == "__main__":
    sys.path.insert(0, sys.argv[1])
    json.dump(read(*sys.argv[2:6]), sys.stdout)
