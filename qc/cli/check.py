"""`sidegate check`: judge a delivery and write the requested reports."""

from __future__ import annotations

import argparse
import os
from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from functools import partial
from pathlib import Path

from qc import api
from qc.cli.delivery_run import delivery_path, run_options, sources
from qc.cli.plugin_host import host_of, say_failures
from qc.cli.streams import say
from qc.cli.writing import Output, attempted, outputs, refuse_sources, write
from qc.delivery.approvals import NAME
from qc.judge.engine import exit_code
from qc.judge.level_option import read_level
from qc.judge.whole_report import with_failures
from qc.model.errors import UsageError
from qc.plugin_base import Evidence, Renderer, Report
from qc.report.views.since import counted_words
from qc.report.writing import CORE, FormatFailedError
from qc.text.sanitize import shown


def check(words: argparse.Namespace) -> int:
    """Run the command; raises SidegateError for unusable input, before anything is written."""
    path = delivery_path(words)
    read_level(words.level)  # refuse a bad value before anything is loaded
    host = host_of(words)
    if words.note_template is not None and not any(word.startswith("note=") for word in words.out):
        raise UsageError("--note-template: no note is written; request one with --out note=note.md")
    asked = words.out or ["text=-"]
    targets, unwritten = outputs(asked, host, partial(_renderer, words))
    read = api.read_any(path, host)
    inputs = _optional_inputs(words)
    template = None if words.note_template is None else Path(words.note_template)
    named = [file for file in (template, inputs.waivers, inputs.approvals) if file is not None]
    refuse_sources(targets, [*sources(words, read), *named, read.folder / NAME])
    _keep_the_baseline(targets, inputs.baseline)
    inputs = replace(
        inputs, ruleset=words.ruleset, sides=tuple(words.side), chain=tuple(words.chain), level=words.level,
        explained=say if words.verbose else None, formats=tuple(word.partition("=")[0] for word in asked),
    )  # fmt: skip
    with run_options(inputs, words, host, read) as options:
        checked = api.checked(path, options, host, read, draws=any(output.renderer.draws for output in targets))
    report = checked.report.model_copy(update={"run": None}) if words.reproducible else checked.report
    report, code = _written(targets, with_failures(report, unwritten), checked.evidence)
    code = max(code, exit_code(report, strict=words.strict, only_new=words.only_new))
    say_failures(report.plugin_failures, report.plugin_warnings)
    if not any(output.path is None for output in targets):
        failed = sum(result.outcome == "fail" for result in report.results)
        count = f", {failed} check{'s' * (failed > 1)} failed" if failed else ""
        say(f"{report.delivery.title}: {report.verdict}{count}{_new(report, words)}")
    return code


def _written(targets: Sequence[Output], report: Report, evidence: Evidence) -> tuple[Report, int]:
    """Write every report; return the report with the formats that failed, and an exit code.

    The formats of plugins are written first, so that the reports of the others state their failures.
    """
    code = 0
    for output in sorted(targets, key=lambda output: output.owner == CORE):
        try:
            code = max(code, attempted(partial(write, output, report, evidence)))
        except FormatFailedError as error:
            report = with_failures(report, [error.failure])
    return report, code


def _optional_inputs(words: argparse.Namespace) -> api.Options:
    """Return options with waivers, baseline and today's date; raises UsageError for an option without a file."""
    for option, place in (
        ("--waivers", words.waivers),
        ("--baseline", words.baseline),
        ("--approvals", words.approvals),
    ):
        if place == "":
            raise UsageError(f"{option}: the file has no name")
    if words.only_new and words.baseline is None:
        raise UsageError("--only-new: there is no earlier report to compare with; name one with --baseline")
    places = (words.waivers, words.baseline, words.approvals)
    waivers, baseline, approvals = (None if place is None else Path(place) for place in places)
    today = date.today()  # noqa: DTZ011 - waivers expire by the local date
    return api.Options(
        waivers=waivers, own_waivers=words.own_waivers, baseline=baseline, today=today, approvals=approvals
    )


def _keep_the_baseline(targets: Sequence[Output], baseline: Path | None) -> None:
    """Raise UsageError if a report would replace the baseline: the next run would miss what is new in this one."""
    for output in targets:
        if baseline is not None and output.path == Path(os.path.realpath(baseline)):
            hint = "write the report elsewhere, and replace the baseline once the report is agreed"
            raise UsageError(f"--out: {shown(output.place)} is the baseline of this run; {hint}")


def _new(report: Report, words: argparse.Namespace) -> str:
    """Return the end of the summary on stderr: the findings that count with --only-new; else an empty text."""
    if not words.only_new:
        return ""
    return f"; {counted_words(report, strict=words.strict)}"


def _renderer(words: argparse.Namespace, kind: type[Renderer], path: Path | None) -> Renderer:
    """Build the renderer of a format for a path, with the options of the command line."""
    if kind.name == "text":
        from qc.cli.terminal import text

        return text(words, path)
    if kind.name == "sarif":
        from qc.report.sarif.renderer import Sarif

        return Sarif(strict=words.strict, only_new=words.only_new)
    if kind.name == "junit":
        from qc.report.junit import JUnit

        return JUnit(only_new=words.only_new)
    if kind.name == "note":
        from qc.report.note.renderer import Note

        return Note.for_path(path, None if words.note_template is None else Path(words.note_template))
    return kind.for_path(path)
