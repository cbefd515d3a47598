"""No page, sentence or script formats a figure, a time or a day by itself: `studio.figures` does.

What only programs read (arguments of ffmpeg, SVG and MusicXML, errors of a library's arguments) is
named here with its reason.
"""

import ast
import re
from pathlib import Path

import pytest

STUDIO = Path(__file__).parents[2] / "studio"
NOT_FOR_PEOPLE = {
    "intonation/detection/detector.py": "errors of arguments",
    "intonation/estimation/estimator.py": "errors of arguments",
    "intonation/listening.py": "errors of arguments",
    "intonation/detection/resampling.py": "errors of arguments",
    "intonation/model/options.py": "errors of arguments",
    "drills/calendar.py": "times as RFC 5545 writes them",
    "intonation/estimation/reference_pitch.py": "errors of arguments",
    "media/jobs.py": "arguments of ffmpeg",
    "media/playable.py": "arguments of ffmpeg",
    "media/pyav_prober.py": "answers as ffprobe writes them",
    "notation/engraving.py": "SVG",
    "notation/musicxml/writing.py": "MusicXML",
    "notation/request.py": "errors of arguments",
    "notation/score.py": "errors of arguments",
    "notation/tones.py": "errors of arguments",
    "review/web/desk/blocks.py": "SVG",
    "review/marks/mark.py": "what a page names a mark by",
    "review/templatetags/desk.py": "a fragment of an address",
    "rights/copies/annotations.py": "media fragments (W3C)",
    "rights/copies/webvtt.py": "times as WebVTT writes them",
    "supervisor.py": "the log",
    "theory/instruments.py": "errors of arguments",
}
# Decimals, signs, general numbers, dates: what a format can do to a figure.
SPECS = re.compile(r"\.\d+[fgen%]|[+ ]\d*[dfg]?$|\d*g$|%[-a-zA-Z]")
ROUNDING = {"round", "ceil", "floor"}
BY_ITSELF_IN_A_SCRIPT = re.compile(
    r"toFixed|toPrecision|toLocale|\bIntl\.|padStart|[%/] 60\b|\$\{[^}]*Math\.(?:round|floor|ceil)"
)
BY_ITSELF_IN_A_TEMPLATE = re.compile(
    r"\|(?:floatformat|filesizeformat|intcomma|timesince|timeuntil|natural\w+)|"
    # Text and plain numbers for attributes, and a day as HTML writes it, are not for people.
    r"\|stringformat:(?!\"[sd]\")|\|(?:date:(?!'Y-m-d')|time:)|{% now "
)


def found_in(source: str) -> list[str]:
    """What a module formats by itself, each with its line."""
    return [
        f"{node.lineno}: {ast.unparse(node)}"
        for node in ast.walk(ast.parse(source))
        if _formats(node)
    ]


def _formats(node: ast.AST) -> bool:
    if isinstance(node, ast.FormattedValue):
        spec = ast.unparse(node.format_spec)[2:-1] if node.format_spec else ""
        return bool(SPECS.search(spec)) or any(map(_rounds, ast.walk(node.value)))
    if isinstance(node, ast.BinOp) and isinstance(node.op, ast.Mod | ast.FloorDiv):
        return isinstance(node.right, ast.Constant) and node.right.value in (60, 3600)
    if not isinstance(node, ast.Call):
        return False
    name = _name(node)
    if name == "divmod":
        return isinstance(node.args[1], ast.Constant) and node.args[1].value in (60, 600, 3600)
    return name == "strftime" or (name == "format" and bool(SPECS.search(ast.unparse(node.func))))


def _rounds(node: ast.AST) -> bool:
    return isinstance(node, ast.Call) and _name(node) in ROUNDING


def _name(call: ast.Call) -> str:
    return call.func.attr if isinstance(call.func, ast.Attribute) else getattr(call.func, "id", "")


def modules() -> list[Path]:
    return [
        path
        for path in sorted(STUDIO.rglob("*.py"))
        if path.parent.name != "figures" and "migrations" not in path.parts
    ]


def test_no_module_formats_a_figure_by_itself():
    wrong = {
        str(path.relative_to(STUDIO)): said
        for path in modules()
        if (said := found_in(path.read_text("utf-8")))
    }
    assert {name: said for name, said in wrong.items() if name not in NOT_FOR_PEOPLE} == {}
    assert set(NOT_FOR_PEOPLE) <= set(wrong), "an exception that is none any more"


def test_no_template_formats_a_figure_by_itself():
    wrong = {
        str(path.relative_to(STUDIO)): BY_ITSELF_IN_A_TEMPLATE.findall(path.read_text())
        for folder in ("templates", "jinja2")
        for path in (STUDIO / folder).rglob("*.html")
        if BY_ITSELF_IN_A_TEMPLATE.search(path.read_text())
    }
    assert wrong == {}


def test_no_script_formats_a_figure_by_itself():
    scripts = [p for p in (STUDIO / "static").rglob("*.js") if "vendor" not in p.parts]
    wrong = {
        (path.name, found[0])
        for path in scripts
        if path.name != "figures.js"
        for found in BY_ITSELF_IN_A_SCRIPT.finditer(path.read_text())
    }
    # Keys of bytes, the shape of a drawing, the height of a bar: none is read by people.
    assert wrong == {
        ("bars.js", "${Math.ceil"),
        ("fingerprint.js", "padStart"),
        ("server.js", "padStart"),
        ("still-drawing.js", "${Math.round"),
    }
    assert len(scripts) > 50


def test_a_script_imports_the_figures_that_it_says_and_hides_none_of_them():
    scripts = [p for p in (STUDIO / "static").rglob("*.js") if "vendor" not in p.parts]
    importing = 0
    for path in scripts:
        text = path.read_text()
        found = re.search(r'import \{([^}]*)\} from "[./]*/figures\.js"', text)
        if found is None:
            continue
        importing += 1
        for name in (given.split(" as ")[-1].strip() for given in found[1].split(",")):
            assert re.search(rf"(?<![\w.#]){name}\(", text), (path.name, name, "is not used")
            hidden = rf"\b(?:const|let|function) {name}\b"
            assert not re.search(hidden, text), (path.name, name)
    assert importing > 8


@pytest.mark.parametrize(
    "source",
    [
        'f"{cents:.0f} cents"',
        'f"{cents:+.1f}"',
        'f"{cents:+d}"',
        'f"{mm:g} mm"',
        'f"{day:%-d %B %Y}"',
        'f"{round(cents)} c"',
        'f"{math.ceil(doubt)} c"',
        'f"{max(1, math.ceil(doubt))} c"',
        "minutes, rest = divmod(seconds, 60)",
        'f"{seconds // 60}"',
        'day.strftime("%d")',
        '"{:.1f}".format(cents)',
    ],
)
def test_a_module_that_formats_by_itself_is_found(source):
    assert len(found_in(source)) == 1


@pytest.mark.parametrize(
    "source",
    ['f"{name:>8}"', 'f"{figures.signed(cents, 1):>8}"', "x = round(cents)", 'f"{one}: {two}"'],
)
def test_what_only_sets_text_is_let_through(source):
    assert found_in(source) == []
