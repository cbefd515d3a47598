"""Every number that the listening and the judging go by has a name, and says where it is from.

Conventions: a *constant* is a module-level name in capitals whose value holds a number; a *block*
is a run of assignments without an empty line between them. A comment counts for a constant on its
own lines, directly above it, or above those before it in the block.
"""

import ast
import io
import re
import tokenize
from collections.abc import Iterator
from pathlib import Path

import pytest

INTONATION = Path(__file__).resolve().parents[2] / "studio" / "intonation"
SOURCES = sorted(INTONATION.rglob("*.py"))
# How a comment says where a number is from: by whom or what it was chosen, or that it follows.
ORIGIN = re.compile(
    r"\b(chosen|choices?|fitted|calibrated|measured|by definition|common practice|default|tests/"
    r"|(1[89]|20)\d\d)",
    re.IGNORECASE,
)
# Not thresholds: nothing, the whole, half and twice.
PLAIN = {0.0, 0.5, 1.0, 2.0}
# Guards against dividing by nothing and the logarithm of nothing, and the rounding of double
# precision: no sound, pitch or time comes as near to nothing.
GUARD = 1e-6


def comments(source: str) -> dict[int, str]:
    """Each line's comment."""
    tokens = tokenize.generate_tokens(io.StringIO(source).readline)
    return {each.start[0]: each.string for each in tokens if each.type == tokenize.COMMENT}


def _names(node: ast.stmt) -> list[str]:
    targets = node.targets if isinstance(node, ast.Assign) else []
    targets = [node.target] if isinstance(node, ast.AnnAssign) else targets
    return [
        each.id for target in targets for each in ast.walk(target) if isinstance(each, ast.Name)
    ]


def _holds_a_number(node: ast.stmt) -> bool:
    value = getattr(node, "value", None)
    found = (
        [each.value for each in ast.walk(value) if isinstance(each, ast.Constant)] if value else []
    )
    return any(isinstance(each, int | float) and not isinstance(each, bool) for each in found)


def constants(source: str) -> Iterator[tuple[str, str, str]]:
    """Each constant: its name, the comment nearest to it, and all comments that count for it."""
    said = comments(source)
    lines = source.splitlines()
    for node in ast.parse(source).body:
        names = _names(node)
        if not names or not all(name.strip("_").isupper() for name in names):
            continue
        if not _holds_a_number(node):
            continue
        assert node.end_lineno is not None
        own = [said[at] for at in range(node.lineno, node.end_lineno + 1) if at in said]
        above, nearest = [], []
        at = node.lineno - 1
        while at > 0 and lines[at - 1].strip():
            if lines[at - 1].startswith("#"):
                above.insert(0, lines[at - 1])
                nearest = nearest or [lines[at - 1]]
            at -= 1
        yield ", ".join(names), " ".join(own or nearest), " ".join([*above, *own])


def _is_decibel(node: ast.Constant, parents: dict[ast.AST, ast.AST]) -> bool:
    """Whether a ten is that of 10·log10(power) or 10^(level / 10)."""
    at: ast.AST = node
    while isinstance(at := parents[at], ast.expr):
        if not isinstance(at, ast.BinOp):
            continue
        if isinstance(at.op, ast.Pow):
            return isinstance(at.left, ast.Constant) and at.left.value == 10.0
        if isinstance(at.op, ast.Mult) and at.left is node:
            return ast.unparse(at.right).startswith("np.log10(")
    return False


def literals(source: str) -> list[tuple[int, float]]:
    """Line and value of each float literal inside a function that is more than plain arithmetic."""
    tree = ast.parse(source)
    parents = {child: node for node in ast.walk(tree) for child in ast.iter_child_nodes(node)}
    functions = (ast.FunctionDef, ast.AsyncFunctionDef, ast.Lambda)
    inside = {
        each
        for function in ast.walk(tree)
        if isinstance(function, functions)
        for each in ast.walk(function)
        if isinstance(each, ast.Constant) and isinstance(each.value, float)
    }
    return sorted(
        (each.lineno, each.value)
        for each in inside
        if each.value not in PLAIN
        and each.value > GUARD
        and not (each.value == 10.0 and _is_decibel(each, parents))
    )


def _by_name(path: Path) -> str:
    return path.relative_to(INTONATION).as_posix()


@pytest.mark.parametrize("path", SOURCES, ids=_by_name)
def test_every_constant_says_what_it_is(path):
    found = list(constants(path.read_text("utf-8")))
    assert [name for name, nearest, _ in found if not nearest] == []


@pytest.mark.parametrize("path", SOURCES, ids=_by_name)
def test_every_constant_says_where_it_is_from(path):
    found = list(constants(path.read_text("utf-8")))
    assert [name for name, _, said in found if not ORIGIN.search(said)] == []


@pytest.mark.parametrize("path", SOURCES, ids=_by_name)
def test_no_number_hides_in_a_function(path):
    assert literals(path.read_text("utf-8")) == []


def test_there_is_something_to_look_at():
    assert sum(len(list(constants(path.read_text("utf-8")))) for path in SOURCES) > 400


def test_a_constant_without_a_word_is_found():
    source = "# Chosen:\nA = 1.0  # s\nB_HZ, C_HZ = 2.0, 3.0\n\nD = 4\nE = 'word'\nf = 5.0\n"
    said = {
        name: (bool(nearest), bool(ORIGIN.search(every)))
        for name, nearest, every in constants(source)
    }
    assert said == {"A": (True, True), "B_HZ, C_HZ": (True, True), "D": (False, False)}
    assert not ORIGIN.search("# seconds: shorter is nothing played")


def test_a_number_in_a_function_is_found():
    source = (
        "X = 3.5\n"
        "def f(y, k=0.25):\n"
        "    return 10.0 * np.log10(y + 1e-14) + 10.0 ** (k / 10.0) + 2.0 * y - 10.0 * y - 0.7\n"
    )
    assert literals(source) == [(2, 0.25), (3, 0.7), (3, 10.0)]
