"""SARIF 2.1.0, as code-scanning services and editors read it: the delivery file is the source, a check is a rule."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import BinaryIO, Self

from qc.judge.severity import failed
from qc.model.report import BaselineFacts, Finding, PluginFailure
from qc.plugin_base import Cited, Evidence, Renderer, Report
from qc.report.sarif.results import Row, cited, file_uri, message_text, plain, results
from qc.report.sarif.rules import rules, taxonomy
from qc.report.views import since
from qc.report.views.changed import change_lines
from qc.report.views.level_words import option_words
from qc.report.views.plugins import unneeded_words
from qc.report.views.stored_sides import measured_earlier_lines

SCHEMA = "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json"


class Sarif(Renderer):
    """Writes the results as a SARIF log of one run; `strict` and `only_new` decide the exit code as in `check`."""

    name = "sarif"
    suffixes = (".sarif", ".sarif.json")

    def __init__(self, *, strict: bool = False, only_new: bool = False) -> None:
        self.strict, self.only_new = strict, only_new

    @classmethod
    def for_path(cls, path: Path | None) -> Self:  # noqa: ARG003
        """Build the renderer; all paths are alike."""
        return cls()

    def render(self, report: Report, evidence: Evidence, out: BinaryIO) -> None:
        """Write the log as UTF-8 with two spaces of indent and a final line end."""
        log = {"$schema": SCHEMA, "version": "2.1.0", "runs": [_run(report, evidence, failed=self._failed(report))]}
        text = json.dumps(log, indent=2, ensure_ascii=False, allow_nan=False)
        out.write(text.encode("utf-8", "replace") + b"\n")

    def _failed(self, report: Report) -> bool:
        return failed(report, strict=self.strict, only_new=self.only_new)


def _run(report: Report, evidence: Evidence, *, failed: bool) -> Row:
    ids = sorted({result.check for result in report.results} | {finding.check for finding in _gone(report)})
    sources = cited(report)
    name, _, version = report.tool.partition(" ")
    driver: Row = {
        "name": name,
        "version": version,
        "rules": rules(ids, evidence.words),
        "properties": {"plugins": [plain(plugin) for plugin in report.plugins]},
    }
    if sources:
        driver["supportedTaxonomies"] = [{"name": "sources", "index": 0}]
    run: Row = {
        "tool": {"driver": driver},
        "columnKind": "unicodeCodePoints",
        "language": "en",
        "invocations": [_invocation(report, ids, failed=failed)],
        "artifacts": list(_artifacts(report)),
        "results": results(report, ids, sources),
        "properties": _properties(report),
    }
    if sources:
        catalogue: Mapping[str, Cited] = evidence.sources
        run["taxonomies"] = [taxonomy(sources, catalogue)]
    return run


def _gone(report: Report) -> tuple[Finding, ...]:
    return () if report.baseline is None else report.baseline.gone


def _properties(report: Report) -> Row:
    ruleset = report.ruleset
    properties: Row = {
        "verdict": report.verdict,
        "title": plain(report.delivery.title),
        "ruleset": f"{ruleset.name}@{ruleset.version}",
        "rulesetSha256": ruleset.sha256,
        "changes": list(change_lines(ruleset)),
        "cautions": list(report.cautions),
    }
    if option := option_words(report):
        properties["level"] = plain(option)
    if stored := list(measured_earlier_lines(report.run)):
        properties["measuredEarlier"] = [plain(line) for line in stored]
    if report.baseline is not None:
        earlier = report.baseline
        words = {"file": earlier.file, "tool": earlier.tool, "ruleset": earlier.ruleset}
        properties["baseline"] = {name: plain(word) for name, word in words.items()} | _changes(earlier)
    return properties


def _changes(before: BaselineFacts) -> Row:
    """Count the findings of both reports by state, with sentences on those that were not compared."""
    return {
        "new": before.new,
        "asBefore": before.unchanged,
        "mended": len(before.gone),
        "notJudged": len(before.not_judged),
        "unsure": len(before.unsure),
        "otherLevels": [plain(words) for words in since.other_level_words(before)],
        "leftOut": [plain(words) for words in since.left_out_words(before)],
    }


def _invocation(report: Report, ids: list[str], *, failed: bool) -> Row:
    broke = report.verdict == "error" or bool(report.plugin_failures)
    code = 3 if broke else 1 if failed else 0
    invocation: Row = {"executionSuccessful": not broke, "exitCode": code}
    if report.run is not None:
        invocation["startTimeUtc"] = report.run.started.replace("+00:00", "Z")
    notifications = [_notification(failure, ids) for failure in report.plugin_failures]
    broken = {(failure.stage, failure.side) for failure in report.plugin_failures}
    notifications += [
        _notification(PluginFailure(plugin="", stage=result.check, message=result.reason, side=result.side), ids)
        for result in report.results
        if result.outcome == "error" and (result.check, result.side) not in broken
    ]
    notifications += [_unneeded(warning) for warning in report.plugin_warnings]
    return invocation | ({"toolExecutionNotifications": notifications} if notifications else {})


def _notification(failure: PluginFailure, ids: list[str]) -> Row:
    """Return the notification of a plugin failure; `plugin` is empty for a check that could not run because of it."""
    side = f" on side {failure.side}" if failure.side else ""
    who = f"plugin {failure.plugin} failed at {failure.stage}" if failure.plugin else f"{failure.stage} could not run"
    notification: Row = {"level": "error", "message": {"text": message_text(f"{who}{side}: {failure.message}")}}
    if failure.stage in ids:
        notification["associatedRule"] = {"id": failure.stage, "index": ids.index(failure.stage)}
    if failure.plugin:
        notification["properties"] = {"plugin": plain(failure.plugin)}
    return notification


def _unneeded(warning: PluginFailure) -> Row:
    """Return the notification of a plugin that did not load and that nothing needs."""
    return {
        "level": "warning",
        "message": {"text": message_text(unneeded_words(warning))},
        "properties": {"plugin": plain(warning.plugin)},
    }


def _artifacts(report: Report) -> Iterator[Row]:
    """Yield the files that were judged with their digests; missing audio has none."""
    yield _artifact(report.delivery.file, report.delivery.sha256, "the delivery file")
    for side in report.sides:
        files = [(file.file, file.sha256) for file in side.audio.files] or [(side.audio.file, side.audio.sha256)]
        for name, sha256 in files:
            yield _artifact(name, sha256, f"audio of side {side.id}")


def _artifact(name: str, sha256: str | None, what: str) -> Row:
    artifact: Row = {
        "location": {"uri": file_uri(name)},
        "roles": ["analysisTarget"],
        "description": {"text": message_text(what)},
    }
    return artifact | ({"hashes": {"sha-256": sha256}} if sha256 else {})
