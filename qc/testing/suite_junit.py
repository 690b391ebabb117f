"""Write cases that were run as JUnit XML, as build servers read it: a suite a check, a test case a case file."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby
from operator import attrgetter
from xml.etree import ElementTree as ET

from qc.testing.suite import CaseRun
from qc.text.sanitize import shown

LONGEST = 4000
"""Characters of one line."""
_ELEMENTS = {"differs": "failure", "unusable": "error", "broken": "error"}


def junit(runs: Sequence[CaseRun]) -> bytes:
    """Return the document, UTF-8, indented."""
    root = ET.Element("testsuites", {"name": "sidegate test"})
    for check, cases in groupby(sorted(runs, key=attrgetter("check")), attrgetter("check")):
        root.append(_suite(check, list(cases)))
    for name in ("tests", "failures", "errors"):
        root.set(name, str(sum(int(suite.attrib[name]) for suite in root)))
    root.set("time", f"{sum(run.seconds for run in runs):.3f}")
    ET.indent(root)
    return ET.tostring(root, encoding="utf-8", xml_declaration=True) + b"\n"


def _suite(check: str, runs: Sequence[CaseRun]) -> ET.Element:
    elements = [_ELEMENTS.get(run.state) for run in runs]
    suite = ET.Element(
        "testsuite",
        {
            "name": _clean(check), "tests": str(len(runs)), "failures": str(elements.count("failure")),
            "errors": str(elements.count("error")), "time": f"{sum(run.seconds for run in runs):.3f}",
        },
    )  # fmt: skip
    for run, element in zip(runs, elements, strict=True):
        name, file = _clean(run.path.stem), _clean(str(run.path))
        seconds = f"{run.seconds:.3f}"
        case = ET.SubElement(
            suite, "testcase", {"name": name, "classname": _clean(check), "file": file, "time": seconds}
        )
        if element is not None:
            lines = [_clean(line) for line in run.lines]
            ET.SubElement(case, element, {"type": run.state, "message": lines[0]}).text = "\n".join(lines)
    return suite


def _clean(text: str) -> str:
    """Write a text on one line, with characters that XML 1.0 cannot take as escapes."""
    return shown(text, LONGEST)
