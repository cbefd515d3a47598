"""Between dataclasses and plain JSON values: no NaN, rounded by unit, forgiving when loading."""

import math
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from functools import lru_cache
from typing import Any

# Decimals kept, by the unit at the end of a field's name: far below what can be
# measured. Chosen.
_DECIMALS = {"_hz": 4, "_s": 4, "_cents": 3, "_db": 2, "_mm": 2}
_OTHER_DECIMALS = 4  # chosen: shares and counts
_PLAIN = frozenset((str, int, bool, type(None)))


def rounded(name: str, value: float) -> float | None:
    """The value rounded by its unit, ``None`` where it is not a finite number."""
    return round(float(value), _decimals(name)) if math.isfinite(value) else None


@lru_cache(maxsize=512)
def _decimals(name: str) -> int:
    return next((n for unit, n in _DECIMALS.items() if name.endswith(unit)), _OTHER_DECIMALS)


def to_plain(value: Any, name: str = "") -> Any:
    """Dataclasses, tuples and mappings as dicts and lists that JSON can hold."""
    if type(value) is float:
        return rounded(name, value)
    if value is None or isinstance(value, bool | int | str):
        return value
    if is_dataclass(value) and not isinstance(value, type):
        return _plain_fields(value)
    if isinstance(value, Mapping):
        return {str(key): to_plain(item, str(key)) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [to_plain(item, name) for item in value]
    return rounded(name, float(value))


def _plain_fields(value: Any) -> dict[str, Any]:
    """A measurement has a hundred thousand fields, nearly all of them words and numbers."""
    plain = {}
    for name, decimals in _decimals_of_fields(value.__class__):
        item = getattr(value, name)
        kind = type(item)
        if kind is float:
            plain[name] = round(item, decimals) if math.isfinite(item) else None
        else:
            plain[name] = item if kind in _PLAIN else to_plain(item, name)
    return plain


@lru_cache(maxsize=64)
def _decimals_of_fields(cls: type) -> tuple[tuple[str, int], ...]:
    return tuple((name, _decimals(name)) for name in _names(cls))


@lru_cache(maxsize=64)
def _names(cls: type) -> tuple[str, ...]:
    return tuple(field.name for field in fields(cls))


def known_fields(cls: type, data: Mapping[str, Any]) -> dict[str, Any]:
    """The items of ``data`` that ``cls`` knows; the rest came from another version."""
    return {name: data[name] for name in _names(cls) if name in data}
