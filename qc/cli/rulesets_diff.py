"""`sidegate rulesets diff`: compare two rulesets, by themselves, on a delivery, or on the numbers of a report."""

from __future__ import annotations

import argparse
from datetime import date
from pathlib import Path

from qc import api
from qc.cli.delivery_run import run_options
from qc.cli.plugin_host import host_of, say_failures
from qc.cli.writing import OutputTarget, places, refuse_sources, write_results
from qc.model.errors import UsageError
from qc.model.ruleset_diff import RulesetDiff
from qc.report import registry
from qc.ruleset.find import is_path


def diff(words: argparse.Namespace) -> int:
    """Run the command; raises SidegateError for unusable input, before anything is written."""
    if words.on is not None and not words.on:
        raise UsageError("--on: the file has no name; give a delivery, or a report that ends in .json")
    targets = places(words.out or ["text=-"], registry.formats("rulesets"))
    on = None if words.on is None else Path(words.on)
    sources = [Path(spec) for spec in (words.before, words.after) if is_path(spec)]
    if on is None or on.suffix == ".json":
        refuse_sources(targets, [*sources, *([] if on is None else [on])])
        comparison = api.rulesets_diff(words.before, words.after, on, host=host_of(words))
    else:
        comparison = _judged(words, on, targets, sources)
    code = write_results(targets, "rulesets", comparison, ascii_only=words.ascii)
    broken = () if comparison.compared is None else comparison.compared.plugin_failures
    say_failures(broken)
    return max(code, 3 if broken else 0)


def _judged(words: argparse.Namespace, on: Path, targets: list[OutputTarget], sources: list[Path]) -> RulesetDiff:
    """Compare two rulesets on a delivery, judged by both."""
    host = host_of(words)
    read = api.read_any(on, host)
    refuse_sources(targets, [*sources, *read.files])
    asked = api.Options(today=date.today())  # noqa: DTZ011 - waivers expire by the local date
    with run_options(asked, words, host, read) as options:
        return api.rulesets_diff(words.before, words.after, on, options, host)
