"""The picture of a sample clip: our own drawing of a fingerboard, a bow, and a clock.

Drawn with numpy alone, into RGB frames. Fingers sit where the pitch lies on the string:
a stop n semitones above the open string leaves 2^(-n/12) of its length.
"""

from collections.abc import Iterator
from typing import Any

import numpy as np

WIDE, TALL = 640, 360
RATE_HZ = 15
OPEN_STRINGS = (55, 62, 69, 76)  # MIDI of G3 D4 A4 E5
NUT_X, BRIDGE_X = 60.0, 560.0
STRING_Y = (150.0, 175.0, 200.0, 225.0)
PAPER, BOARD, STRING = (238, 231, 218), (58, 46, 40), (205, 196, 180)
FINGER, BOW, HAIR, INK = (196, 92, 48), (112, 66, 38), (250, 248, 240), (40, 36, 34)
GLYPHS = {
    "0": "699996", "1": "262227", "2": "69124F", "3": "E1611E", "4": "99F111", "5": "F8E11E",
    "6": "68E996", "7": "F12244", "8": "696996", "9": "697116", ":": "060060", ".": "000066",
    "A": "699F99", "B": "E9E99E", "C": "788887", "D": "E9999E", "E": "F8E88F", "F": "F8E888",
    "G": "788B97", "b": "88E99E", "#": "5F55F5", " ": "000000",
}  # fmt: skip


def frames(events: list[dict[str, Any]], length_s: float) -> Iterator[np.ndarray]:
    """Yield RGB frames, shape (TALL, WIDE, 3), uint8, one every 1/RATE_HZ s."""
    board = _board()
    for number in range(round(length_s * RATE_HZ)):
        at_s = number / RATE_HZ
        frame = board.copy()
        current = next((e for e in events if e["start_s"] <= at_s < e["end_s"]), None)
        held = [e for e in events if e["start_s"] <= at_s + 0.15]
        shown = current or (held[-1] if held else events[0])
        places = strings_and_stops(shown["midi"])
        for string, stop in places:
            if stop > 0:
                x = NUT_X + (BRIDGE_X - NUT_X) * (1 - 2 ** (-stop / 12)) - 6
                _disc(frame, x, STRING_Y[string], 9.0, FINGER)
        _bow(frame, places, current, at_s)
        _write(frame, f"{int(at_s) // 60}:{at_s % 60:04.1f}", 24, 22, 4)
        if current:
            _write(frame, "  ".join(current["pitches"]), 300, 22, 4)
        yield frame


def strings_and_stops(midi: list[int]) -> list[tuple[int, int]]:
    """A place for each pitch: (string, semitones above it), on neighbouring strings."""
    low = midi[0]
    if len(midi) == 1:
        string = max(s for s, opened in enumerate(OPEN_STRINGS) if opened <= max(low, 55))
        return [(string, low - OPEN_STRINGS[string])]
    pairs = [
        [(s, low - OPEN_STRINGS[s]), (s + 1, midi[1] - OPEN_STRINGS[s + 1])]
        for s in range(3)
        if low >= OPEN_STRINGS[s] and midi[1] >= OPEN_STRINGS[s + 1]
    ]
    return min(pairs, key=lambda pair: max(stop for _, stop in pair))


def _board() -> np.ndarray:
    frame = np.empty((TALL, WIDE, 3), np.uint8)
    frame[:] = PAPER
    x = np.arange(WIDE)
    half = 46 + 14 * (x - NUT_X) / (BRIDGE_X - NUT_X)
    y = np.arange(TALL)[:, None]
    inside = (np.abs(y - 187.5) < half) & (x > NUT_X - 6) & (x < 470)
    frame[inside] = BOARD
    frame[130:246, int(NUT_X) - 8 : int(NUT_X)] = HAIR
    frame[122:254, int(BRIDGE_X) : int(BRIDGE_X) + 8] = BOW
    for string, line in enumerate(STRING_Y):
        thick = 3 - string // 2
        frame[int(line) - thick // 2 : int(line) - thick // 2 + thick, 40:600] = STRING
    return frame


def _bow(
    frame: np.ndarray,
    places: list[tuple[int, int]],
    current: dict[str, Any] | None,
    at_s: float,
) -> None:
    """A bow across the strings, moving down and up with each stroke."""
    part = 0.5
    if current:
        part = (at_s - current["start_s"]) / (current["end_s"] - current["start_s"])
    down = (current["id"] if current else 0) % 2 == 0
    shift = (part if down else 1 - part) * 120 - 60
    tilt = 0.05 * (sum(string for string, _ in places) / len(places) - 1.5)
    y = np.arange(TALL)
    middle = 515 + tilt * (y - 187.5) * 4
    top, bottom = max(70, int(80 + shift)), min(TALL - 4, int(310 + shift))
    for line in range(top, bottom):
        x = int(middle[line])
        frame[line, x - 3 : x] = HAIR
        frame[line, x + 5 : x + 9] = BOW


def _disc(frame: np.ndarray, x: float, y: float, radius: float, colour: tuple[int, ...]) -> None:
    left, top, size = int(x - radius) - 1, int(y - radius) - 1, int(2 * radius) + 3
    rows, columns = np.mgrid[top : top + size, left : left + size]
    cover = np.clip(radius + 0.5 - np.hypot(columns - x, rows - y), 0, 1)[..., None]
    patch = frame[top : top + size, left : left + size]
    patch[:] = np.round(patch * (1 - cover) + np.array(colour) * cover)


def _write(frame: np.ndarray, text: str, x: int, y: int, size: int) -> None:
    for letter in text:
        bits = [[int(row, 16) >> (3 - column) & 1 for column in range(4)] for row in GLYPHS[letter]]
        mask = np.kron(np.array(bits, bool), np.ones((size, size), bool))
        frame[y : y + mask.shape[0], x : x + mask.shape[1]][mask] = INK
        x += 5 * size
