"""The browser's modules: none leads back to itself, also not by what it loads when first used.

A module's published name is made of its content, and so of the names of what it imports: round a
circle there is none, and `collectstatic` gives up.
"""

import re
from pathlib import Path

from studio.accounts.templatetags.modules import imports_of, preload_imports

STATIC = Path(__file__).resolve().parents[1] / "studio" / "static"
IMPORT = re.compile(r"""(?:\bfrom\s+|\bimport\s+|\bimport\()["'](\.[^"']+)["']""")


def imported(source: str, at: Path) -> set[Path]:
    return {(at.parent / name).resolve() for name in IMPORT.findall(source)}


def circles(leads: dict[Path, set[Path]]) -> list[list[str]]:
    """Every way that a module leads back to one above it, as names."""
    found, settled = [], set()

    def walk(module: Path, way: list[Path]) -> None:
        if module in way:
            found.append([each.name for each in [*way[way.index(module) :], module]])
        elif module not in settled:
            for after in leads.get(module, ()):
                walk(after, [*way, module])
            settled.add(module)

    for module in leads:
        walk(module, [])
    return found


def test_no_module_leads_back_to_itself():
    modules = [path for path in STATIC.rglob("*.js") if "vendor" not in path.parts]
    leads = {path: imported(path.read_text(), path) for path in modules}
    assert sum(map(len, leads.values())) > 50
    assert circles(leads) == []


def test_a_circle_is_found():
    one, other = STATIC / "one.js", STATIC / "other.js"
    leads = {
        one: imported('export { a } from "./other.js";', one),
        other: imported('const more = () => import("./one.js");', other),
    }
    assert circles(leads) == [["one.js", "other.js", "one.js"]]


def test_what_a_module_brings_along_is_told_beforehand():
    brought = imports_of("desk/desk.js")
    assert {"desk/keys.js", "desk/state.js", "figures.js"} <= brought
    assert "desk/key-dialog.js" not in brought, "it is fetched when it is first asked for"
    alone = [path for path in STATIC.rglob("*.js") if "vendor" not in path.parts]
    for path in alone:
        name = path.relative_to(STATIC).as_posix()
        direct = imported(re.sub(r"import\([^)]*\)", "", path.read_text()), path)
        assert {each.relative_to(STATIC).as_posix() for each in direct} <= imports_of(name)
    told = preload_imports("desk/desk.js")
    assert told.count("modulepreload") == len(brought)
