"""Faults made to happen, one by one: what was expected, what was seen.

Each fault is a test with the mark ``fault(number, what, expected)`` that makes it with a real kill,
a real server or a real file; what it saw it says through the fixture ``seen``. So the checks of
every change and this table are the same code. ``--quick`` leaves the long storm of kills out.
"""

import argparse
import json
import sys
import time
from dataclasses import asdict, dataclass

import pytest

NUMBERS = range(1, 42)  # the faults that were thought of, in the order they were written down


@dataclass
class Fault:
    """One line of the table. ``outcome``: as expected, or failed."""

    number: int
    what: str
    expected: str
    seen: str
    outcome: str
    seconds: float


class Collector:
    """Keeps the tests that make faults, and what each of them saw."""

    def __init__(self) -> None:
        self.faults: list[Fault] = []
        self._marks: dict[str, list[tuple[int, str, str]]] = {}

    def pytest_collection_modifyitems(self, config, items) -> None:
        chosen = [item for item in items if item.get_closest_marker("fault")]
        config.hook.pytest_deselected(items=[item for item in items if item not in chosen])
        items[:] = chosen
        for item in items:
            self._marks[item.nodeid] = [mark.args for mark in item.iter_markers("fault")]

    def pytest_runtest_logreport(self, report) -> None:
        if report.when == "call" or report.failed:
            words = "; ".join(text for name, text in report.user_properties if name == "seen")
            failure = str(report.longrepr).strip().splitlines()[-1:] if report.failed else []
            for number, what, expected in self._marks[report.nodeid]:
                self.faults.append(
                    Fault(
                        number,
                        what,
                        expected,
                        " ".join([words, *failure]).strip() or "as expected",
                        "as expected" if report.passed else "failed",
                        round(report.duration, 1),
                    )
                )


def table(faults: list[Fault]) -> str:
    """One fault a paragraph: a wide table does not fit a terminal."""
    return "\n".join(
        f"{fault.number:>3}  {fault.what}\n"
        f"     expected: {fault.expected}\n"
        f"     seen:     {fault.seen}  [{fault.outcome}, {fault.seconds} s]"
        for fault in sorted(faults, key=lambda fault: (fault.number, fault.what))
    )


def not_made(faults: list[Fault]) -> list[int]:
    """The faults that no test makes happen."""
    return sorted(set(NUMBERS) - {fault.number for fault in faults})


def main() -> int:
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--quick", action="store_true", help="without the storm of kills")
    quick = arguments.parse_args().quick
    collector, begun = Collector(), time.monotonic()
    options = ["-q", "--no-header", "-p", "no:cacheprovider", "--continue-on-collection-errors"]
    code = pytest.main([*options, "tests"], [collector])
    figures: dict[str, object] = {
        "faults": [asdict(fault) for fault in collector.faults],
        "as_expected": sum(fault.outcome == "as expected" for fault in collector.faults),
        "failed": sum(fault.outcome == "failed" for fault in collector.faults),
        "not_made": not_made(collector.faults),
    }
    print(table(collector.faults))
    print(f"\n{figures['as_expected']} as expected, {figures['failed']} failed.", end=" ")
    print(f"Made by no test: {figures['not_made'] or 'none'}.")
    if not quick:
        from tests.benchmarks.storm import storm

        figures["storm"] = storm()
    figures["seconds"] = round(time.monotonic() - begun, 1)
    print(json.dumps(figures))
    return int(code)


if __name__ == "__main__":
    sys.exit(main())
