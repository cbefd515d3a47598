"""What was said of a clip as captions: WebVTT (W3C Candidate Recommendation, 4 April 2019)."""

from collections.abc import Iterable
from dataclasses import dataclass

SHOWN_S = 4.0  # for so long a remark about a moment stands; chosen
SHORTEST_S = 0.5


@dataclass(frozen=True, slots=True)
class Cue:
    """Text from ``start_s`` to ``end_s`` (None: for a while), said by ``who``."""

    start_s: float
    end_s: float | None
    text: str
    who: str = ""


def document(title: str, cues: Iterable[Cue]) -> str:
    """A whole file, in the order of time. Section 4.1 of the standard gives the syntax."""
    ordered = sorted(cues, key=lambda cue: (cue.start_s, cue.end_s or 0.0))
    blocks = [f"WEBVTT - {_line(title)}"]
    blocks += [_block(number, cue) for number, cue in enumerate(ordered, 1)]
    return "\n\n".join(blocks) + "\n"


def timestamp(seconds: float) -> str:
    """
    >>> timestamp(4.0), timestamp(3725.0625)
    ('00:00:04.000', '01:02:05.062')
    """
    millis = round(max(seconds, 0.0) * 1000)
    minutes, millis = divmod(millis, 60_000)
    hours, minutes = divmod(minutes, 60)
    return f"{hours:02}:{minutes:02}:{millis // 1000:02}.{millis % 1000:03}"


def _block(number: int, cue: Cue) -> str:
    end = cue.start_s + SHOWN_S if cue.end_s is None else cue.end_s
    end = max(end, cue.start_s + SHORTEST_S)
    said = _payload(cue.text) or "…"
    voice = f"<v {_line(cue.who)}>" if cue.who else ""
    return f"{number}\n{timestamp(cue.start_s)} --> {timestamp(end)}\n{voice}{said}"


def _payload(text: str) -> str:
    """Cue text has no empty line, which would end it, and no arrow."""
    lines = [line.strip() for line in text.splitlines() if line.strip()]
    return "\n".join(_escaped(line) for line in lines)


def _line(text: str) -> str:
    return _escaped(" ".join(text.split()))


def _escaped(text: str) -> str:
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
