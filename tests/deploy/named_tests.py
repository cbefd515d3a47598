"""Tests that a document names as what shows its claims."""

import ast
import re
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
NAMED = re.compile(r"`(tests/[\w/]+\.py)::(\w+)`")


def functions_of(path: Path) -> set[str]:
    tree = ast.parse(path.read_text("utf-8"))
    functions = (node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef))
    return {node.name for node in functions if node.name.startswith("test_")}
