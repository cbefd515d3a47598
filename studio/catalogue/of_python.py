"""Python, read as its own syntax tree.

A sentence is a text of two words and more, or an f-string that has them. It is for a reader unless
it stands where only developers, operators and logs read (:data:`UNREAD`).
"""

import ast
import builtins
import re

from .found import Found

ONE = {"_", "gettext", "gettext_lazy", "gettext_noop", "N_"}
COUNT, COUNT_OF = "count", "count_of"
IN_CONTEXT = {"pgettext", "P_"}
TWO = {"ngettext", "ngettext_lazy"}
SENTENCE = re.compile(r"[^\W\d_]{2,}[,.:;’”]* +[“‘(]?[^\W\d_]")
# What is no language: statements, patterns, media types, command lines, rules of pages' headers.
CODE = re.compile(
    r"^\s*(?:no-store|private|max-age|SELECT|INSERT|UPDATE|DELETE|CREATE|PRAGMA|WITH)\b"
    r"|^\s*(?:SET|DROP|ALTER|VACUUM|ATTACH|BEGIN)\b"
    r"|<[a-z!/][^>]*>|\\[bdswDSW]|^-|::|=\S|[{}]\s*$|^\.|\w+/\w+;"
)
VALUE = "\N{OBJECT REPLACEMENT CHARACTER}"
UNREAD = {  # calls whose texts a developer, an operator or a log reads
    *("debug", "info", "warning", "error", "exception", "critical", "log", "warn", "print"),
    *("execute", "executemany", "compile", "sub", "match", "search", "split", "getLogger"),
    *("add_argument", "add_parser", "ArgumentParser", "CommandError", "write", "Error", "Warning"),
    *("LeaseLost", "Retry", "ImproperlyConfigured", "SuspiciousOperation", "save", "values_list"),
    *("UnusablePin", "DoesNotExist"),
    *("Unlinked", "Emptied", "Stays", "impersonal"),  # why a row outlives its person
    *("Counter", "Gauge", "Histogram", "Field", "RunSQL", "CheckConstraint", "UniqueConstraint"),
}
# Errors of a wrong program; those that a reader is told of are the project's own.
BUILT_IN = {name for name, it in vars(builtins).items() if isinstance(it, type)}
SHOWN = {"label", "help_text", "empty_label", "initial_words", "placeholder"}  # of one word, too


def of_python(source: str) -> Found:
    """What a module says."""
    found = Found()
    _Reader(found).visit(ast.parse(source))
    return found


class _Reader(ast.NodeVisitor):
    def __init__(self, found: Found) -> None:
        self.found = found

    def visit_Call(self, node: ast.Call) -> None:
        name = _name(node.func)
        texts = [text for text in map(_constant, node.args[:2]) if text is not None]
        if name in (COUNT, COUNT_OF):
            self._count(node)
        elif name in IN_CONTEXT and len(node.args) == 2:
            if len(texts) == 2:
                self.found.add(node.lineno, texts[1], context=texts[0])
            else:
                self.visit(node.args[1])
        elif name in ONE | TWO and texts:
            self.found.add(node.lineno, *texts[: 2 if name in TWO else 1])
            rest = node.args[len(texts) :]
            for child in [*rest, *node.keywords]:
                self.visit(child)
        elif name not in UNREAD and name not in BUILT_IN:
            is_field = isinstance(node.func, ast.Attribute) and _name(node.func.value) == "models"
            for keyword in [k for k in node.keywords if is_field and k.arg == "help_text"]:
                node.keywords.remove(keyword)  # for whoever reads the tables
            self.generic_visit(node)

    def _count(self, node: ast.Call) -> None:
        """``count(3, "mark", "marks")``, or the template's ``count_of(3, "mark,marks")``."""
        words = [text for text in map(_constant, node.args[1:]) if text is not None]
        forms = words[0].split(",") if len(words) == 1 else words
        if len(forms) == 2:
            self.found.count(node.lineno, *forms)
        for child in node.args[:1]:
            self.visit(child)

    def visit_keyword(self, node: ast.keyword) -> None:
        if node.arg in SHOWN and isinstance(node.value, ast.Constant):
            self.found.say(node.value.lineno, str(node.value.value or ""))
        else:
            self.generic_visit(node)

    def visit_Constant(self, node: ast.Constant) -> None:
        if isinstance(node.value, str):
            self._say(node.lineno, node.value)

    def visit_JoinedStr(self, node: ast.JoinedStr) -> None:
        parts = [p.value if isinstance(p, ast.Constant) else VALUE for p in node.values]
        self._say(node.lineno, "".join(parts))
        for part in node.values:
            if isinstance(part, ast.FormattedValue):
                self.visit(part.value)

    def visit_Expr(self, node: ast.Expr) -> None:
        if not isinstance(node.value, ast.Constant):  # a docstring, or words beside a field
            self.generic_visit(node)

    def visit_Assert(self, node: ast.Assert) -> None:
        self.visit(node.test)

    def visit_Subscript(self, node: ast.Subscript) -> None:
        self.visit(node.value)

    def visit_AnnAssign(self, node: ast.AnnAssign) -> None:
        if node.value:
            self.visit(node.value)

    def _function(self, node: ast.FunctionDef | ast.AsyncFunctionDef) -> None:
        defaults = [d for d in (*node.args.defaults, *node.args.kw_defaults) if d is not None]
        for child in (*defaults, *node.body):
            self.visit(child)

    visit_FunctionDef = visit_AsyncFunctionDef = _function

    def _say(self, line: int, text: str) -> None:
        if SENTENCE.search(text) and not CODE.search(text):
            self.found.say(line, text)


def _name(func: ast.expr) -> str:
    return func.attr if isinstance(func, ast.Attribute) else getattr(func, "id", "")


def _constant(node: ast.expr) -> str | None:
    is_text = isinstance(node, ast.Constant) and isinstance(node.value, str)
    return node.value if is_text else None
