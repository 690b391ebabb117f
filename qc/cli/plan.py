"""`sidegate plan`: compare discs, assumptions, side breaks and running orders of a delivery."""

from __future__ import annotations

import argparse

from qc import api
from qc.cli.delivery_run import delivery_path, run_options, sources
from qc.cli.plugin_host import host_of, say_failures
from qc.cli.streams import say
from qc.cli.writing import places, refuse_sources, write_results
from qc.judge.level_option import read_level
from qc.model.errors import UsageError
from qc.model.plan import exit_code
from qc.report import registry


def plan(words: argparse.Namespace) -> int:
    """Run the command; raises SidegateError for unusable input, before anything is written."""
    path = delivery_path(words)
    if words.most is not None and not words.split:
        raise UsageError("--most: it says over how many sides to break at the most; give --split too")
    read_level(words.level)  # refuse a bad value before anything is loaded
    targets = places(words.out or ["text=-"], registry.formats("plan"))
    host = host_of(words)
    read = api.read_any(path, host)
    refuse_sources(targets, sources(words, read))
    asked = api.PlanOptions(
        words.ruleset, tuple(words.side), chain=tuple(words.chain), level=words.level, disc=words.disc,
        split=words.split, most=words.most, reorder=words.reorder,
    )  # fmt: skip
    with run_options(asked, words, host, read) as options:
        report = api.plan(path, options, host, read)
    if words.reproducible:
        report = report.model_copy(update={"run": None})
    code = max(exit_code(report), write_results(targets, "plan", report, ascii_only=words.ascii))
    say_failures(report.plugin_failures, report.plugin_warnings)
    for side in report.sides:
        if side.fault:
            say(f"side {side.id} was not planned: {side.fault}")
    return code
