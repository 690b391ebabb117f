"""JUnit XML, as build servers read it: a suite a side and one for the delivery as a whole, a case a check.

Only what a case of tests can be is said by its elements; a warning passes, with its words in system-out. No time is
given to a case: all checks of a side are worked out of one pass.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import BinaryIO
from xml.etree import ElementTree as ET

from qc.judge.findings import MeasuredFinding
from qc.judge.severity import counted_of
from qc.model.report import CheckResult, Finding, PluginFailure
from qc.plugin_api import Evidence, Renderer, Report
from qc.report.views.findings import place
from qc.report.views.level_words import judged_as
from qc.report.views.since import mark
from qc.report.views.stored_sides import measured_earlier
from qc.report.views.waivers import given
from qc.text.sanitize import shown

LONGEST = 4000
"""Characters of one line."""
SKIPPED = {"not_applicable": "not applicable", "not_measured": "not measured"}
DELIVERY = "the delivery as a whole"
AS_BEFORE = "as before: it fails, and so it did in the earlier report; only what is new counts"


class JUnit(Renderer):
    """Writes the results as JUnit XML; with `only_new` a check passes that fails as it did in the earlier report."""

    name = "junit"
    suffixes = (".xml",)

    def __init__(self, *, only_new: bool = False) -> None:
        self.only_new = only_new

    def render(self, report: Report, evidence: Evidence, out: BinaryIO) -> None:  # noqa: ARG002
        """Write UTF-8, indented."""
        root = _suites(report, only_new=self.only_new)
        ET.indent(root)
        out.write(ET.tostring(root, encoding="utf-8", xml_declaration=True) + b"\n")


def _suites(report: Report, *, only_new: bool) -> ET.Element:
    name = " ".join(part for part in (report.delivery.catalogue, report.delivery.title) if part)
    root = ET.Element("testsuites", {"name": _clean(name)})
    told = list(_told(report))
    for side in dict.fromkeys([*(side.id for side in report.sides), *(result.side for result in report.results)]):
        cases = [_case(result, report, only_new=only_new) for result in report.results if result.side == side]
        if cases:
            root.append(_suite(DELIVERY if side is None else f"side {side}", report, cases, _facts(report, side)))
    alone = [failure for failure in report.plugin_failures if id(failure) not in told]
    if alone:
        root.append(_suite("plugins", report, [_broken(failure) for failure in alone], []))
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
    """Say what was judged, by what."""
    facts = [
        ("tool", report.tool),
        ("ruleset", f"{report.ruleset.name}@{report.ruleset.version}"),
        ("ruleset.sha256", report.ruleset.sha256),
        ("delivery", report.delivery.file),
        ("delivery.sha256", report.delivery.sha256),
    ]
    for one in report.sides:
        if one.id == side:
            facts += [("audio", one.audio.file), *([("audio.sha256", one.audio.sha256)] if one.audio.sha256 else [])]
            facts += [("level", f"judged at {one.levels.judged}, {judged_as(report, one)}")] if one.levels else []
            earlier = measured_earlier(report.run, one.id)
            facts += [("measured", earlier)] if earlier else []
    return facts


def _case(result: CheckResult, report: Report, *, only_new: bool) -> ET.Element:
    """Write one check; its findings in the text of the failure, what else was found in system-out."""
    where = result.side or "delivery"
    case = ET.Element("testcase", {"name": _clean(result.check), "classname": _clean(where)})
    kept = {
        severity: [one for one in result.findings if one.severity == severity and one.waived_by is None]
        for severity in ("fail", "warn")
    }
    waived = [one for one in result.findings if one.waived_by is not None]
    beside = [*_lines(kept["warn"]), *(line for one in waived for line in _waived(one, report))]
    if result.outcome in SKIPPED:
        ET.SubElement(case, "skipped").text = _clean(f"{SKIPPED[result.outcome]}: {result.reason}")
    elif result.outcome == "waived":
        ET.SubElement(case, "skipped").text = "\n".join([*beside, *_omitted(result)])
        beside = []
    elif result.outcome == "error":
        failure = _who(result, report)
        _fault(case, "plugin" if failure is None else failure.plugin, result.reason)
    elif result.outcome == "fail" and only_new and _as_before(result, report):
        beside = [AS_BEFORE, *_lines(kept["fail"]), *beside, *_omitted(result)]
    elif result.outcome == "fail":
        _failure(case, result, kept["fail"])
    else:
        beside += [*_omitted(result), *([_clean(result.reason)] if result.reason else [])]
    if beside:
        ET.SubElement(case, "system-out").text = "\n".join(beside)
    return case


def _as_before(result: CheckResult, report: Report) -> bool:
    """Say whether a check fails by nothing that the earlier report did not have."""
    return bool(result.findings) and not counted_of(result, report.baseline, strict=False)


def _failure(case: ET.Element, result: CheckResult, findings: Sequence[Finding]) -> None:
    """Write a failure; its message is that of the gravest finding, of a new one where there is one."""
    first = next((one for one in findings if one.baseline == "new"), next(iter(findings), None))
    message = result.reason or "it failed" if first is None else first.message
    failed = ET.SubElement(case, "failure", {"type": "fail", "message": _clean(message)})
    failed.text = "\n".join([*_lines(findings), *_omitted(result)])


def _fault(case: ET.Element, plugin: str, why: str) -> None:
    words = _clean(f"plugin {plugin}: {why}")
    ET.SubElement(case, "error", {"type": _clean(plugin), "message": words}).text = words


def _broken(failure: PluginFailure) -> ET.Element:
    """Write a failure that no check stands for."""
    side = f" on side {failure.side}" if failure.side else ""
    case = ET.Element(
        "testcase", {"name": _clean(f"{failure.plugin} at {failure.stage}{side}"), "classname": "plugins"}
    )
    _fault(case, failure.plugin, failure.message)
    return case


def _told(report: Report) -> Iterator[int]:
    """Give the failures, by identity, that a check's own case tells of."""
    for result in report.results:
        if result.outcome == "error" and (failure := _who(result, report)) is not None:
            yield id(failure)


def _who(result: CheckResult, report: Report) -> PluginFailure | None:
    """Give the failure of the plugin that broke in a check."""
    same = (one for one in report.plugin_failures if one.stage == result.check and one.side == result.side)
    return next(same, None)


def _lines(findings: Iterable[Finding]) -> Iterator[str]:
    for finding in findings:
        where = ", ".join(
            word for word in (place(MeasuredFinding(finding, finding.measure), fully=True), mark(finding)) if word
        )
        yield _clean(f"{finding.severity}: {where}: {finding.message}")
        yield _clean(f"  to do: {finding.remedy}")


def _waived(finding: Finding, report: Report) -> list[str]:
    """Say who answers for a finding, and why."""
    waiver = next((one for one in report.waivers if one.key == finding.waived_by), None)
    by = finding.waived_by if waiver is None else f"{waiver.owner}, {given(waiver)}: {waiver.reason}"
    return [_clean(f"waived by {by}"), *_lines([finding])]


def _omitted(result: CheckResult) -> list[str]:
    return [f"and {result.findings_omitted} more of this kind"] if result.findings_omitted else []


def _clean(text: str) -> str:
    """Write a text on one line; what XML 1.0 cannot hold, and what steers a terminal, is seen as an escape."""
    return shown(text, LONGEST)
