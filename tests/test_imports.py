"""Imports run one way. See DEVELOPERS.md for the map.

rights -> progress -> review, demo -> review -> clips, drills -> accounts -> jobs; the apps may use
figures, theory, intonation, notation and media, and jobs may use figures, theory and media; of
those five, figures and theory use none, the others may use both, and none uses an app. A model's
foreign key to another app counts as an import of it.
"""

import ast
import functools
import sys
from pathlib import Path

import pytest

STUDIO = Path(__file__).resolve().parents[1] / "studio"

PURE = {
    "figures": set(),
    "theory": set(),
    "intonation": {"figures", "theory"},
    "notation": {"figures", "theory"},
    "media": {"figures", "theory"},
}
APPS = {
    "workers": set(),
    "accounts": set(),
    "clips": {"accounts", "workers"},
    "drills": {"accounts"},
    "review": {"clips", "drills", "accounts"},
    "progress": {"review", "clips", "drills", "accounts"},
    "rights": {"progress", "review", "clips", "drills", "accounts"},
    "demo": {"review", "clips", "drills", "accounts"},
    "operations": {"review", "clips", "drills", "accounts", "workers"},
}
# Long work done once: below every app, above what judges recordings.
JOBS = {"jobs": {"media", "figures", "theory"}}
MAY_USE = PURE | JOBS | {app: below | {*PURE, *JOBS} for app, below in APPS.items()}

# What may come from outside, where that is bounded. The standard library is named separately.
OUTSIDE = {
    "figures": set(),
    "theory": {"numpy"},
    "intonation": {"numpy", "scipy", "librosa"},
}
NO_FILES = {"intonation": {"os", "io", "pathlib", "shutil", "tempfile", "subprocess", "wave"}}
NO_DJANGO = {
    "figures",
    "theory",
    "intonation",
    "notation",
    "media",
    "analyse_command",
    "analyse_drill",
}
# The rooms inside a part, where they are held apart: what each may use of the others.
ROOMS = {
    "intonation": {
        "wording": set(),
        "schema": set(),
        "percentiles": set(),
        "shared_librosa": set(),
        "model": {"wording"},
        "detection": {"model", "percentiles", "shared_librosa"},
        "estimation": {"model", "percentiles"},
        "alignment": {"model"},
        "judging": {"model", "alignment", "wording"},
        "listening": {"model", "detection", "estimation"},
    },
    "clips": {
        "models": set(),
        "signals": set(),
        "storage": set(),
        "access": {"models"},
        "quota": {"models"},
        "sentences": {"models"},
        "processing": {"models", "signals", "storage"},
        "services": {"models", "signals", "storage", "quota", "processing"},
        "recordings": {"models", "signals", "services"},
        "uploads": {"models", "signals", "storage", "quota", "services"},
        "upkeep": {"models", "signals", "storage", "services", "recordings"},
        "viewings": {"models"},
        "views": {"models", "storage", "access", "viewings"},
    },
    "review": {
        "audit_rows": set(),
        "models": {"audit_rows"},
        "ttl_cache": set(),
        "access": {"models"},
        "idempotency": {"models"},
        "changes": {"models", "idempotency"},
        "comments": {"models", "changes"},
        "questions": {"models"},
        "marks": {"models", "ttl_cache", "idempotency", "changes"},
        "audit": {"models", "access", "marks"},
        "phrases": {"models", "marks"},
        "summary_templates": {"models", "phrases"},
        "comparison": {"models", "ttl_cache", "access"},
        "enclosures": {"models", "changes"},
        "prescribing": {"models", "marks"},
        "waiting": {"models", "access", "marks"},
        "history": {"models", "access"},
        "signals": set(),
        "returning": {"models", "signals", "access", "changes", "marks", "comments", "enclosures"},
        "web": {
            *("models", "ttl_cache", "access", "idempotency", "changes", "comments", "marks"),
            *(
                "phrases",
                "summary_templates",
                "questions",
                "comparison",
                "enclosures",
                "prescribing",
                "waiting",
            ),
            *("returning", "history", "audit"),
        },
    },
    "progress": {
        "statistics": set(),
        "playings": set(),
        "recordings": {"playings", "statistics"},
        "subjects": {"playings"},
        "trends": {"playings", "recordings", "statistics", "subjects"},
        "wording": {"playings", "recordings", "statistics", "subjects", "trends"},
        "report_rows": set(),
        "models": {"playings", "report_rows"},
        "reports": {
            *("access", "chart", "playings", "report_rows", "subjects", "trends", "wording"),
        },
        "gathering": {"playings", "statistics"},
        "keeping": {"models", "playings", "gathering"},
        "access": {"models", "playings"},
        "chart": {"playings", "trends", "wording"},
        "fingerboard": {"playings", "recordings", "statistics"},
        "fingerboard_chart": {"fingerboard", "playings"},
        "hand": {"fingerboard", "fingerboard_chart", "playings", "statistics"},
        "then_now": {"playings", "trends"},
        "overview": {"models", "playings", "subjects"},
        "views": {
            *("access", "chart", "playings", "subjects", "trends", "wording"),
            *("fingerboard", "fingerboard_chart", "then_now", "reports", "hand"),
        },
    },
    "review.web": {
        "shared": set(),
        "desk": {"shared"},
        "waiting": {"shared"},
        "clip": {"shared", "desk"},
        "history": set(),
        "home": {"shared", "offline"},
        "offline": {"shared"},
        "assignment": {"shared"},
        "blind_audit": {"shared"},
        "pupils": {"shared"},
        "sending": {"shared"},
        "recording": {"sending"},
        "search": set(),
        "phrases": set(),
        "summary_templates": set(),
        "precision": set(),
        "questions": {"shared"},
        "simple_reading": set(),
    },
}
# What is looked for by name in each app: it may use every room, and no room uses it.
ENTRANCES = {"apps", "personal_data", "urls", "tasks", "management", "migrations", "templatetags"}
ANYBODYS = {"", "__version__", "durable"}  # of the standard library alone
RELATIONS = {"ForeignKey", "OneToOneField", "ManyToManyField"}


@functools.cache
def imported(source: str, module: str, is_package: bool = False) -> frozenset[str]:
    """Dotted names that a module imports, relative ones resolved, wherever they stand."""
    package = module.split(".") if is_package else module.split(".")[:-1]
    found = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            base = package[: len(package) - node.level + 1] if node.level else []
            prefix = ".".join([*base, *([node.module] if node.module else [])])
            found |= {f"{prefix}.{alias.name}" for alias in node.names}
        elif isinstance(node, ast.Call):
            found |= set(_by_name(node))
    return frozenset(found)


def _by_name(call: ast.Call) -> list[str]:
    """Modules named in a string: import_module("studio.x"), ForeignKey("drills.Drill")."""
    name = call.func.attr if isinstance(call.func, ast.Attribute) else getattr(call.func, "id", "")
    values = [*call.args[:1], *(k.value for k in call.keywords if k.arg == "to")]
    texts = [v.value for v in values if isinstance(v, ast.Constant) and isinstance(v.value, str)]
    if name in ("import_module", "__import__"):
        return texts
    if name in RELATIONS or name == "get_model":
        return [f"studio.{text}" for text in texts if "." in text]
    return []


def wrong_arrows(source: str, module: str, is_package: bool = False) -> list[str]:
    """What a module imports and must not, as ``module -> name``."""
    part = module.split(".")[1] if "." in module else ""
    return sorted(
        f"{module} -> {name}"
        for name in imported(source, module, is_package)
        if _is_wrong(part, name.split("."))
    )


def _is_wrong(part: str, name: list[str]) -> bool:
    top = name[0]
    if top == "studio":
        target = name[1] if len(name) > 1 else ""
        if part in PURE and target not in PURE and target not in ANYBODYS:
            return True
        return part in MAY_USE and target in MAY_USE and target not in MAY_USE[part] | {part}
    if top == "django" and part in NO_DJANGO:
        return True
    if top in NO_FILES.get(part, set()):
        return True
    bounded = OUTSIDE.get(part)
    return bounded is not None and top not in bounded and top not in sys.stdlib_module_names


def modules() -> list[tuple[str, Path]]:
    """Every module of the program by its dotted name."""
    found = []
    for path in sorted(STUDIO.rglob("*.py")):
        parts = path.relative_to(STUDIO.parent).with_suffix("").parts
        found.append((".".join(parts[:-1] if parts[-1] == "__init__" else parts), path))
    return found


def test_every_part_of_the_map_is_there():
    assert {path.parent.name for path in STUDIO.glob("*/__init__.py")} >= set(MAY_USE)
    assert len(modules()) > 40


def test_no_module_imports_against_the_map():
    wrong = [
        arrow
        for module, path in modules()
        for arrow in wrong_arrows(path.read_text("utf-8"), module, path.stem == "__init__")
    ]
    assert wrong == []


def between_rooms(source: str, module: str, is_package: bool = False) -> list[str]:
    """What a module imports from another room of its part, and must not."""
    names = imported(source, module, is_package)
    return sorted(
        f"{module} -> {name}"
        for part, rooms in ROOMS.items()
        if (room := _inside(part, module)) is not None
        for name in names
        if _inside(part, name) in _may_not(rooms, room)
    )


def _inside(part: str, name: str) -> str | None:
    """Which room of a part a dotted name lies in; empty is the part itself."""
    whole, within = f"{name}.", f"studio.{part}."
    return whole.removeprefix(within).split(".")[0] if whole.startswith(within) else None


def _may_not(rooms: dict[str, set[str]], room: str) -> set[str]:
    """The rooms that a room must not use; what is in none may use them all."""
    everything = set(rooms) | ENTRANCES
    return everything - {room} - rooms.get(room, everything)


def test_every_room_is_in_its_table():
    for part, rooms in ROOMS.items():
        folder = STUDIO.joinpath(*part.split("."))
        inside = [path for path in folder.iterdir() if path.name != "__pycache__"]
        there = {path.stem for path in inside if any(path.glob("*")) or path.is_file()}
        assert there - ENTRANCES == {"__init__", *rooms}


def test_no_module_imports_against_the_rooms():
    wrong = [
        arrow
        for module, path in modules()
        for arrow in between_rooms(path.read_text("utf-8"), module, path.stem == "__init__")
    ]
    assert wrong == []


def test_an_arrow_between_rooms_is_caught():
    heard = "from studio.intonation.judging.runs import Run"
    assert len(between_rooms(heard, "studio.intonation.detection.octaves")) == 1
    assert len(between_rooms("from .. import judging", "studio.intonation.model.runs")) == 1
    assert between_rooms(heard, "studio.intonation.judging.marks") == []
    assert len(between_rooms("from studio.clips import tasks", "studio.clips.services")) == 1
    assert between_rooms("from .uploads import services", "studio.clips.tasks") == []
    assert len(between_rooms("from ..web import home", "studio.review.marks.mark")) == 1
    assert len(between_rooms("from .waiting import rows", "studio.review.web.home")) == 1
    assert between_rooms("from ..marks import mark", "studio.review.returning.batch") == []
    assert between_rooms("from .desk import page", "studio.review.web.clip") == []


def circles(leads: dict[str, set[str]]) -> list[list[str]]:
    """Each set of modules that lead to one another (Tarjan 1972, SIAM J. Comput. 1, 146-160)."""
    number: dict[str, int] = {}
    lowest: dict[str, int] = {}
    way: list[str] = []
    found = []

    def walk(module: str) -> None:
        number[module] = lowest[module] = len(number)
        way.append(module)
        for after in leads[module]:
            if after not in number:
                walk(after)
                lowest[module] = min(lowest[module], lowest[after])
            elif after in way:
                lowest[module] = min(lowest[module], number[after])
        if lowest[module] == number[module]:
            at = way.index(module)
            circle, way[at:] = way[at:], []
            if len(circle) > 1:
                found.append(sorted(circle))

    for module in leads:
        if module not in number:
            walk(module)
    return found


def test_no_modules_go_round_in_a_circle():
    """Imports inside functions, and those for types alone, included."""
    known = dict(modules())
    leads: dict[str, set[str]] = {}
    for module, path in known.items():
        names = imported(path.read_text("utf-8"), module, path.stem == "__init__")
        targets = {name if name in known else name.rpartition(".")[0] for name in names}
        leads[module] = (targets & set(known)) - {module}
    assert circles(leads) == []
    assert circles({"a": {"b"}, "b": {"c"}, "c": {"a"}, "d": {"a"}}) == [["a", "b", "c"]]


def test_no_file_of_tests_imports_another():
    """What two of them share stands in a module of its own, beside them."""
    tests = Path(__file__).parent
    wrong = [
        f"{path.relative_to(tests)} -> {name}"
        for path in sorted(tests.rglob("*.py"))
        for name in imported(path.read_text("utf-8"), "")
        if name.startswith("tests.") and ".test_" in name
    ]
    assert wrong == []


@pytest.mark.parametrize(
    ("module", "source"),
    [
        ("studio.figures.sizes", "from studio.theory import Pitch"),
        ("studio.figures.sizes", "import numpy"),
        ("studio.figures.times", "from django.utils import timezone"),
        ("studio.theory.keys", "from studio import figures"),
        ("studio.theory.keys", "import studio.intonation"),
        ("studio.theory.keys", "from studio.notation import scores"),
        ("studio.theory.keys", "import scipy"),
        ("studio.intonation.judging.judge", "from django.db import models"),
        ("studio.intonation.judging.judge", "from studio.media import read_sound"),
        ("studio.intonation.listening", "from pathlib import Path"),
        ("studio.media.probe", "def f():\n    from django.conf import settings"),
        ("studio.media.probe", "from studio.environment import read"),
        ("studio.notation.scores", "from studio import clips"),
        ("studio.accounts.models", "from studio.review.models import Mark"),
        ("studio.clips.models", "from studio.drills import models"),
        ("studio.clips.models", "from ..drills import models"),
        ("studio.clips.models", 'x = models.ForeignKey("drills.Assignment")'),
        ("studio.clips.models", 'x = models.ForeignKey(to="review.Mark")'),
        ("studio.drills.services", "import studio.clips.models as c"),
        ("studio.drills.services", 'importlib.import_module("studio.clips")'),
        ("studio.review.web.desk.views", "from studio.progress import figures"),
        ("studio.analyse_command", "import django"),
        ("studio.jobs.leases", "from studio.clips.models import Clip"),
        ("studio.media.runner", "from studio.jobs import leases"),
    ],
)
def test_a_wrong_arrow_is_caught(module, source):
    assert len(wrong_arrows(source, module)) == 1


@pytest.mark.parametrize(
    ("module", "source"),
    [
        ("studio.theory.keys", "import math\nfrom studio.theory.pitches import Pitch"),
        ("studio.intonation.judging.judge", "import numpy\nfrom studio.theory import Pitch"),
        ("studio.intonation.judging.judge", "from .runs import find_runs"),
        ("studio.intonation.wording.sentences", "from studio import figures"),
        ("studio.media.probe", "from studio.figures import length"),
        ("studio.clips.tasks", "from studio.intonation import listen\nimport django"),
        ("studio.clips.tasks", "from studio.environment import read"),
        ("studio.review.models", 'x = models.ForeignKey("drills.Assignment")'),
        ("studio.progress.views", "from studio.accounts import access"),
        ("studio.media", "from studio import __version__"),
    ],
)
def test_a_right_arrow_is_let_through(module, source):
    assert wrong_arrows(source, module) == []
