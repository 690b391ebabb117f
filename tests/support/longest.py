"""The tests that take longest, one node id a line in tests/longest.txt; `conftest.py` marks them `long`.

    .venv/bin/python -m pytest -q -n auto --dist loadfile -o junit_duration_report=call --junitxml=times.xml
    .venv/bin/python tests/support/longest.py times.xml 700

lists the slowest calls of that run until the others take 700 s together, and leaves out what a test marks itself.
"""

from __future__ import annotations

import sys
import xml.etree.ElementTree as ET
from collections.abc import Iterator
from pathlib import Path

TESTS = Path(__file__).resolve().parents[1]
LIST = TESTS / "longest.txt"


def longest() -> frozenset[str]:
    """Read the list."""
    return frozenset(LIST.read_text(encoding="utf-8").splitlines())


def _timed(report: Path) -> Iterator[tuple[float, str]]:
    """Yield the seconds and the node id of every test in a JUnit file of pytest."""
    for case in ET.parse(report).getroot().iter("testcase"):
        module, classes = _split(case.get("classname", "").split("."))
        yield float(case.get("time", "0")), "::".join(["/".join(module) + ".py", *classes, case.get("name", "")])


def _split(parts: list[str]) -> tuple[list[str], list[str]]:
    """Split the dotted name of a module and its classes."""
    for end in range(len(parts), 0, -1):
        if TESTS.parent.joinpath(*parts[:end]).with_suffix(".py").is_file():
            return parts[:end], parts[end:]
    return parts, []


def slowest(report: Path, seconds: float) -> list[str]:
    """Return the node ids of the slowest tests of a run, sorted, without which the others take at most `seconds`."""
    timed = sorted(_timed(report), reverse=True)
    left = sum(time for time, _ in timed)
    chosen = []
    for time, test in timed:
        if left <= seconds:
            break
        chosen.append(test)
        left -= time
    return sorted(chosen)


if __name__ == "__main__":
    LIST.write_text("\n".join(slowest(Path(sys.argv[1]), float(sys.argv[2]))) + "\n", encoding="utf-8")
