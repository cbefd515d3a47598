"""What was measured: as JSON with its schema, and as tables with theirs.

Tables are CSV (RFC 4180) with a description beside them in the place where readers look for it,
``csv-metadata.json`` (W3C Model for Tabular Data and Metadata on the Web, 17 December 2015,
section 5.3; the words are those of the W3C Metadata Vocabulary for Tabular Data of that day).
"""

import csv
import io
from collections.abc import Iterable, Iterator
from typing import Any

from django.utils.translation import gettext as _

from studio.intonation.schema import load_schema
from studio.translating import gettext_lazy

SCHEMA = "measurement-1.json"
INTERVALS, VOICES, DESCRIPTION = "intervals.csv", "voices.csv", "csv-metadata.json"
TIMES = (
    ("event", "integer", gettext_lazy("Number of the event in the measurement, in time order.")),
    (
        "start_s",
        "number",
        gettext_lazy("Where it begins, in seconds from the first sample or frame."),
    ),
    ("end_s", "number", gettext_lazy("Where it ends, in seconds.")),
)
INTERVAL_COLUMNS = (
    *TIMES,
    ("low_pitch", "string", gettext_lazy("The lower note.")),
    ("high_pitch", "string", gettext_lazy("The higher note.")),
    ("low_hz", "number", gettext_lazy("Its frequency in hertz.")),
    ("high_hz", "number", gettext_lazy("Its frequency in hertz.")),
    (
        "size_cents",
        "number",
        gettext_lazy("Size of the interval: the mean over its held part, in cents."),
    ),
    (
        "uncertainty_cents",
        "number",
        gettext_lazy("One standard deviation; empty where it is not known."),
    ),
    ("landing_size_cents", "number", gettext_lazy("Its size just after the bow took it.")),
    ("end_size_cents", "number", gettext_lazy("Where it ended, if that is surely elsewhere.")),
    (
        "moved_cents",
        "number",
        gettext_lazy("How far it moved about its mean (one standard deviation)."),
    ),
    ("beat_hz", "number", gettext_lazy("Beats a second.")),
    ("unsure_reason", "string", gettext_lazy("Why it could not be measured, where it could not.")),
    ("interval", "string", gettext_lazy("What the interval was taken for.")),
    ("deviation_cents", "number", gettext_lazy("How far from its target: wide is positive.")),
    (
        "verdict",
        "string",
        gettext_lazy("in_tune, near, out or unsure, by the tolerances of the studio."),
    ),
)
VOICE_COLUMNS = (
    *TIMES,
    ("kind", "string", gettext_lazy("single, double_stop or chord.")),
    ("voice", "integer", gettext_lazy("Place in the event, from low to high, 0 the lowest.")),
    ("pitch", "string", gettext_lazy("The nearest note.")),
    ("midi", "integer", gettext_lazy("Its MIDI number.")),
    ("f0_hz", "number", gettext_lazy("Frequency in hertz.")),
    (
        "uncertainty_cents",
        "number",
        gettext_lazy("One standard deviation; empty where it is not known."),
    ),
    ("landing_f0_hz", "number", gettext_lazy("Frequency just after the bow took it.")),
    ("level_db", "number", gettext_lazy("How loud, in decibels below full scale (RMS).")),
    ("vibrato_rate_hz", "number", gettext_lazy("Rate of the vibrato, where there was one.")),
    ("vibrato_extent_cents", "number", gettext_lazy("Its extent, plus or minus, in cents.")),
)


def schema() -> dict:
    """The studio's schema of an analysis; a measurement that nobody has judged is one, too."""
    published = load_schema(1)
    required = [name for name in published["required"] if name != "judgement"]
    return published | {
        "$id": "urn:studio:measurement:1",
        "title": _(
            "What was measured of a clip, and what was judged of it where that was returned"
        ),
        "required": required,
    }


def document(measurement: dict, judgement: dict | None) -> dict:
    """The measurement, with the judgement of a clip that was returned."""
    return measurement | ({"judgement": judgement} if judgement is not None else {})


def intervals(measurement: dict, judgement: dict | None) -> str:
    """A line for each interval of each event, with what was judged of it."""
    judged = {
        (row["event"], row["low"], row["high"]): row
        for row in (judgement or {}).get("intervals", ())
    }
    return _csv(INTERVAL_COLUMNS, _interval_rows(measurement, judged))


def voices(measurement: dict) -> str:
    """A line for each voice of each event."""
    return _csv(VOICE_COLUMNS, _voice_rows(measurement))


def description() -> dict:
    """The two tables in the words of the standard."""
    return {
        "@context": ["http://www.w3.org/ns/csvw", {"@language": "en"}],
        "dialect": {"encoding": "utf-8", "header": True, "delimiter": ",", "lineTerminators": CRLF},
        "tables": [
            _table(INTERVALS, _("Intervals that were heard"), INTERVAL_COLUMNS),
            _table(VOICES, _("Notes that were heard"), VOICE_COLUMNS),
        ],
    }


CRLF = ["\r\n", "\n"]


def _table(url: str, title: str, columns: tuple) -> dict:
    described = [
        {"name": name, "titles": name, "datatype": datatype, "dc:description": words}
        for name, datatype, words in columns
    ]
    return {"url": url, "dc:title": title, "tableSchema": {"columns": described}}


def _interval_rows(measurement: dict, judged: dict) -> Iterator[dict]:
    for event in measurement.get("events", ()):
        for one in event.get("intervals", ()):
            low, high = (event["voices"][one[name]] for name in ("low", "high"))
            said = judged.get((event["id"], one["low"], one["high"]), {})
            yield {
                **_when(event),
                **one,
                "low_pitch": said.get("low_pitch", low["pitch"]),
                "high_pitch": said.get("high_pitch", high["pitch"]),
                "low_hz": low["f0_hz"],
                "high_hz": high["f0_hz"],
                "interval": said.get("name"),
                "deviation_cents": said.get("deviation_cents"),
                "verdict": said.get("verdict"),
            }


def _voice_rows(measurement: dict) -> Iterator[dict]:
    for event in measurement.get("events", ()):
        for place, voice in enumerate(event["voices"]):
            vibrato = voice.get("vibrato") or {}
            yield {
                **voice,
                **_when(event),
                "kind": event["kind"],
                "voice": place,
                "vibrato_rate_hz": vibrato.get("rate_hz"),
                "vibrato_extent_cents": vibrato.get("extent_cents"),
            }


def _when(event: dict) -> dict:
    return {"event": event["id"], "start_s": event["start_s"], "end_s": event["end_s"]}


def _csv(columns: tuple, rows: Iterable[dict[str, Any]]) -> str:
    names = [name for name, _rest, _rest in columns]
    out = io.StringIO()
    table = csv.DictWriter(out, names, extrasaction="ignore", restval="")
    table.writeheader()
    table.writerows(rows)  # None is written as nothing
    return out.getvalue()
