"""`sidegate plan`: compare discs, assumptions, side breaks and running orders of a delivery."""

from __future__ import annotations

import argparse
import sys
from functools import partial
from pathlib import Path

from qc import api
from qc.cli.plugin_host import host_of, say_failures
from qc.cli.progress import Progress
from qc.cli.storing import cache
from qc.cli.streams import say
from qc.cli.writing import attempted, places, refuse_sources, write_result
from qc.judge.level_option import read_level
from qc.measure.precompile import precompile
from qc.model.errors import UsageError
from qc.model.plan import exit_code
from qc.report import registry
from qc.ruleset.find import is_path


def plan(words: argparse.Namespace) -> int:
    """Run the command; raises SidegateError for unusable input, before anything is written."""
    if not words.delivery:
        raise UsageError("plan: the delivery has no name; give a delivery file, or a folder holding delivery.yaml")
    if words.most is not None and not words.split:
        raise UsageError("--most: it says over how many sides to break at the most; give --split too")
    read_level(words.level)  # refuse a bad value before anything is loaded
    targets = places(words.out or ["text=-"], registry.formats("plan"))
    host = host_of(words)
    path = Path(words.delivery)
    read = api.read_any(path, host)
    spec = words.ruleset or read.delivery.ruleset
    refuse_sources(targets, [*read.files, *([Path(spec)] if spec and is_path(spec) else [])])
    precompile(host)
    with Progress(sys.stderr) as progress:
        options = api.PlanOptions(
            words.ruleset, tuple(words.side), words.workers, progress.update, tuple(words.chain),
            cache=cache(words, read), verify=words.verify, told=say,
            level=words.level, disc=words.disc, split=words.split, most=words.most, reorder=words.reorder,
        )  # fmt: skip
        report = api.plan(path, options, host, read)
    if words.reproducible:
        report = report.model_copy(update={"run": None})
    code = exit_code(report)
    for output in targets:
        code = max(code, attempted(partial(write_result, output, "plan", report, ascii_only=words.ascii)))
    say_failures(report.plugin_failures, report.plugin_warnings)
    for side in report.sides:
        if side.fault:
            say(f"side {side.id} was not planned: {side.fault}")
    return code
