"""The published JSON Schema of an analysis."""

import json
from importlib import resources
from typing import Any


def load_schema(version: int = 1) -> dict[str, Any]:
    """The JSON Schema (draft 2020-12) of ``Analysis.to_dict()`` for a schema version.

    Raises
    ------
    ValueError
        If there is no schema of that version.
    """
    file = resources.files(__name__).joinpath(f"analysis-{version}.json")
    if not file.is_file():
        raise ValueError(f"there is no schema version {version}; this engine publishes 1")
    loaded: dict[str, Any] = json.loads(file.read_text(encoding="utf-8"))
    return loaded
