"""Between dataclasses and plain JSON values: no NaN, rounded by unit, forgiving when loading."""

import math
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from typing import Any, TypeVar

T = TypeVar("T")

# Decimals kept, by the unit at the end of a field's name: far below what can be measured.
_DECIMALS = {"_hz": 4, "_s": 4, "_cents": 3, "_db": 2, "_mm": 2}
_OTHER_DECIMALS = 4


def rounded(name: str, value: float) -> float | None:
    """The value rounded by its unit, ``None`` where it is not a finite number."""
    if not math.isfinite(value):
        return None
    for unit, decimals in _DECIMALS.items():
        if name.endswith(unit):
            return round(float(value), decimals)
    return round(float(value), _OTHER_DECIMALS)


def to_plain(value: Any, name: str = "") -> Any:
    """Dataclasses, tuples and mappings as dicts and lists that JSON can hold."""
    if is_dataclass(value) and not isinstance(value, type):
        return {f.name: to_plain(getattr(value, f.name), f.name) for f in fields(value)}
    if isinstance(value, Mapping):
        return {str(key): to_plain(item, str(key)) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [to_plain(item, name) for item in value]
    if isinstance(value, bool) or value is None or isinstance(value, int | str):
        return value
    return rounded(name, float(value))


def known_fields(cls: type[T], data: Mapping[str, Any]) -> dict[str, Any]:
    """The items of ``data`` that ``cls`` knows; the rest came from another version."""
    return {f.name: data[f.name] for f in fields(cls) if f.name in data}  # type: ignore[arg-type]
