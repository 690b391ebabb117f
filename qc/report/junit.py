"""JUnit XML, as build servers read it: a suite a side and one for the delivery as a whole, a case a check.

A warning passes, since a test case has no such state; its words are in system-out. A case has no time of its own: one
pass measures for all checks of a side.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import BinaryIO
from xml.etree import ElementTree as ET

from qc.judge.findings import MeasuredFinding
from qc.judge.severity import counted_of
from qc.model.report import CheckResult, Finding, PluginFailure
from qc.plugin_base import Evidence, Renderer, Report
from qc.report.views.findings import place
from qc.report.views.level_words import judged_as
from qc.report.views.plugins import unneeded_words
from qc.report.views.since import mark
from qc.report.views.stored_sides import measured_earlier
from qc.report.views.waivers import given
from qc.text.sanitize import shown

LONGEST = 4000
"""Characters of one line."""
SKIPPED = {"not_applicable": "not applicable", "not_measured": "not measured"}
DELIVERY = "the delivery as a whole"
AS_BEFORE = "as before: it also failed in the earlier report, and only new findings count"


class JUnit(Renderer):
    """Writes the results as JUnit XML; with `only_new` a check passes whose failures are all in the earlier report."""

    name = "junit"
    suffixes = (".xml",)

    def __init__(self, *, only_new: bool = False) -> None:
        self.only_new = only_new

    def render(self, report: Report, evidence: Evidence, out: BinaryIO) -> None:  # noqa: ARG002
        """Write the suites as UTF-8, indented."""
        root = _suites(report, only_new=self.only_new)
        ET.indent(root)
        out.write(ET.tostring(root, encoding="utf-8", xml_declaration=True) + b"\n")


def _suites(report: Report, *, only_new: bool) -> ET.Element:
    name = " ".join(part for part in (report.delivery.catalogue, report.delivery.title) if part)
    root = ET.Element("testsuites", {"name": _clean(name)})
    in_cases = list(_failures_in_cases(report))
    for side in dict.fromkeys([*(side.id for side in report.sides), *(result.side for result in report.results)]):
        cases = [_case(result, report, only_new=only_new) for result in report.results if result.side == side]
        if cases:
            root.append(_suite(DELIVERY if side is None else f"side {side}", report, cases, _facts(report, side)))
    alone = [failure for failure in report.plugin_failures if id(failure) not in in_cases]
    if alone:
        root.append(_suite("plugins", report, [_broken(failure) for failure in alone], []))
    if report.plugin_warnings:
        cases = [_unneeded(warning) for warning in report.plugin_warnings]
        root.append(_suite("plugins that are not needed", report, cases, []))
    for count in ("tests", "failures", "errors"):
        root.set(count, str(sum(int(suite.attrib[count]) for suite in root)))
    if report.run is not None:
        root.set("time", f"{report.run.seconds:.3f}")
    return root


def _suite(title: str, report: Report, cases: Sequence[ET.Element], facts: Sequence[tuple[str, str]]) -> ET.Element:
    counts = {"tests": len(cases)} | {
        name: sum(case.find(element) is not None for case in cases)
        for name, element in (("failures", "failure"), ("errors", "error"), ("skipped", "skipped"))
    }
    suite = ET.Element("testsuite", {"name": _clean(title)} | {name: str(count) for name, count in counts.items()})
    if report.run is not None:
        suite.set("timestamp", report.run.started)
    if facts:
        properties = ET.SubElement(suite, "properties")
        for name, value in facts:
            ET.SubElement(properties, "property", {"name": name, "value": _clean(value)})
    suite.extend(cases)
    return suite


def _facts(report: Report, side: str | None) -> list[tuple[str, str]]:
    """Return name and value of the properties of a suite: tool, ruleset, delivery, audio, level."""
    facts = [
        ("tool", report.tool),
        ("ruleset", f"{report.ruleset.name}@{report.ruleset.version}"),
        ("ruleset.sha256", report.ruleset.sha256),
        ("delivery", report.delivery.file),
        ("delivery.sha256", report.delivery.sha256),
    ]
    for row in report.sides:
        if row.id == side:
            facts += [("audio", row.audio.file), *([("audio.sha256", row.audio.sha256)] if row.audio.sha256 else [])]
            facts += [("level", f"judged at {row.levels.judged}, {judged_as(report, row)}")] if row.levels else []
            earlier = measured_earlier(report.run, row.id)
            facts += [("measured", earlier)] if earlier else []
    return facts


def _case(result: CheckResult, report: Report, *, only_new: bool) -> ET.Element:
    """Write a check: failures in the text of the failure, warnings and waived findings in system-out."""
    where = result.side or "delivery"
    case = ET.Element("testcase", {"name": _clean(result.check), "classname": _clean(where)})
    kept = {
        severity: [finding for finding in result.findings if finding.severity == severity and finding.waived_by is None]
        for severity in ("fail", "warn")
    }
    waived = [finding for finding in result.findings if finding.waived_by is not None]
    output = [*_lines(kept["warn"]), *(line for finding in waived for line in _waived(finding, report))]
    if result.outcome in SKIPPED:
        ET.SubElement(case, "skipped").text = _clean(f"{SKIPPED[result.outcome]}: {result.reason}")
    elif result.outcome == "waived":
        ET.SubElement(case, "skipped").text = "\n".join([*output, *_omitted(result)])
        output = []
    elif result.outcome == "error":
        failure = _failure_of(result, report)
        _fault(case, "plugin" if failure is None else failure.plugin, result.reason)
    elif result.outcome == "fail" and only_new and _as_before(result, report):
        output = [AS_BEFORE, *_lines(kept["fail"]), *output, *_omitted(result)]
    elif result.outcome == "fail":
        _failure(case, result, kept["fail"])
    else:
        output += [*_omitted(result), *([_clean(result.reason)] if result.reason else [])]
    if output:
        ET.SubElement(case, "system-out").text = "\n".join(output)
    return case


def _as_before(result: CheckResult, report: Report) -> bool:
    """Whether all failures of a check are in the earlier report too."""
    return bool(result.findings) and not counted_of(result, report.baseline, strict=False)


def _failure(case: ET.Element, result: CheckResult, findings: Sequence[Finding]) -> None:
    """Write a failure; its message is that of the most serious new finding, else of the most serious one."""
    first = next((finding for finding in findings if finding.baseline == "new"), next(iter(findings), None))
    message = result.reason or "it failed" if first is None else first.message
    failed = ET.SubElement(case, "failure", {"type": "fail", "message": _clean(message)})
    failed.text = "\n".join([*_lines(findings), *_omitted(result)])


def _fault(case: ET.Element, plugin: str, why: str) -> None:
    words = _clean(f"plugin {plugin}: {why}")
    ET.SubElement(case, "error", {"type": _clean(plugin), "message": words}).text = words


def _broken(failure: PluginFailure) -> ET.Element:
    """Write a plugin failure outside any check, as a case of its own."""
    side = f" on side {failure.side}" if failure.side else ""
    case = ET.Element(
        "testcase", {"name": _clean(f"{failure.plugin} at {failure.stage}{side}"), "classname": "plugins"}
    )
    _fault(case, failure.plugin, failure.message)
    return case


def _unneeded(warning: PluginFailure) -> ET.Element:
    """Write a plugin that did not load and that nothing needs, as a case that passes with its words."""
    case = ET.Element(
        "testcase", {"name": _clean(f"{warning.plugin} at {warning.stage}"), "classname": "plugins that are not needed"}
    )
    ET.SubElement(case, "system-out").text = _clean(unneeded_words(warning))
    return case


def _failures_in_cases(report: Report) -> Iterator[int]:
    """Yield the `id()` of each plugin failure that the case of a check reports."""
    for result in report.results:
        if result.outcome == "error" and (failure := _failure_of(result, report)) is not None:
            yield id(failure)


def _failure_of(result: CheckResult, report: Report) -> PluginFailure | None:
    """Return the plugin failure that ended a check; None where there is none."""
    matching = (row for row in report.plugin_failures if row.stage == result.check and row.side == result.side)
    return next(matching, None)


def _lines(findings: Iterable[Finding]) -> Iterator[str]:
    for finding in findings:
        where = ", ".join(
            word for word in (place(MeasuredFinding(finding, finding.measure), fully=True), mark(finding)) if word
        )
        yield _clean(f"{finding.severity}: {where}: {finding.message}")
        yield _clean(f"  to do: {finding.remedy}")


def _waived(finding: Finding, report: Report) -> list[str]:
    """Return the lines of a waived finding: owner, origin and reason of the waiver, then the finding."""
    waiver = next((row for row in report.waivers if row.key == finding.waived_by), None)
    by = finding.waived_by if waiver is None else f"{waiver.owner}, {given(waiver)}: {waiver.reason}"
    return [_clean(f"waived by {by}"), *_lines([finding])]


def _omitted(result: CheckResult) -> list[str]:
    return [f"and {result.findings_omitted} more of this kind"] if result.findings_omitted else []


def _clean(text: str) -> str:
    """Write a text on one line, with characters that XML 1.0 or a terminal cannot take as escapes."""
    return shown(text, LONGEST)
