"""`sidegate rulesets diff`: what another ruleset would change, in itself, to a delivery, or to what a report says."""

from __future__ import annotations

import argparse
import sys
from datetime import date
from functools import partial
from pathlib import Path

from qc import api
from qc.cli.progress import Progress
from qc.cli.storing import cache
from qc.cli.streams import say
from qc.cli.writing import OutputTarget, attempted, places, refuse_sources, write_result
from qc.measure.precompile import precompile
from qc.model.errors import UsageError
from qc.model.ruleset_diff import RulesetDiff
from qc.report import registry
from qc.ruleset.find import is_path


def diff(words: argparse.Namespace) -> int:
    """Run the command; raises SidegateError for what cannot be used, before anything is written."""
    if words.on is not None and not words.on:
        raise UsageError("--on: it names nothing; give a delivery, or a report that ends in .json")
    wanted = places(words.out or ["text=-"], registry.formats("rulesets"))
    on = None if words.on is None else Path(words.on)
    sources = [Path(spec) for spec in (words.before, words.after) if is_path(spec)]
    if on is None or on.suffix == ".json":
        refuse_sources(wanted, [*sources, *([] if on is None else [on])])
        found = api.rulesets_diff(words.before, words.after, on, host=api.build_host(words.patience))
    else:
        found = _judged(words, on, wanted, sources)
    code = 0
    for output in wanted:
        code = max(code, attempted(partial(write_result, output, "rulesets", found, ascii_only=words.ascii)))
    broken = () if found.compared is None else found.compared.plugin_failures
    for failure in broken:
        say(f"plugin {failure.plugin} failed at {failure.stage}: {failure.message}")
    return max(code, 3 if broken else 0)


def _judged(words: argparse.Namespace, on: Path, wanted: list[OutputTarget], sources: list[Path]) -> RulesetDiff:
    """Judge a delivery by both."""
    host = api.build_host(words.patience)
    read = api.read_any(on, host)
    refuse_sources(wanted, [*sources, *read.files])
    precompile(host)
    with Progress(sys.stderr) as progress:
        options = api.Options(
            workers=words.workers, progress=progress.told, cache=cache(words, read),
            verify=words.verify, told=say, today=date.today(),  # noqa: DTZ011 - papers are local
        )  # fmt: skip
        return api.rulesets_diff(words.before, words.after, on, options, host)
