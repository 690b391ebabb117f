"""`sidegate check`: judge a delivery and write the reports that were asked for."""

from __future__ import annotations

import argparse
import sys
from functools import partial
from pathlib import Path

from qc import api
from qc.cli.compiling import compile_first
from qc.cli.main import say
from qc.cli.progress import Progress
from qc.cli.terminal import text
from qc.cli.writing import Output, attempted, outputs, refuse_sources, write
from qc.contract import Renderer
from qc.dsp import jit
from qc.errors import UsageError
from qc.judge.engine import exit_code
from qc.report.note import Note
from qc.report.sarif import Sarif
from qc.report.text import Text
from qc.ruleset.find import is_path


def check(words: argparse.Namespace) -> int:
    """Run the command; raises SidegateError for what cannot be used, before anything is written."""
    if not words.delivery:
        raise UsageError("check: the delivery has no name; give a delivery file, or a folder holding delivery.yaml")
    host = api.build_host()
    if words.note_template is not None and not any(word.startswith("note=") for word in words.out):
        raise UsageError("--note-template: no note is written; ask for one with --out note=note.md")
    wanted: list[Output] = outputs(words.out or ["text=-"], host.renderers, partial(_renderer, words))
    path = Path(words.delivery)
    read = api.read_any(path, host)
    spec = words.ruleset or read.delivery.ruleset
    house = [Path(spec)] if spec and is_path(spec) else []
    house += [] if words.note_template is None else [Path(words.note_template)]
    refuse_sources(wanted, [*read.files, *house])
    compile_first(host.needs)
    with Progress(sys.stderr) as progress:
        options = api.Options(words.ruleset, tuple(words.side), words.workers, progress.told, tuple(words.chain))
        checked = api.checked(path, options, host, read, draws=any(output.renderer.draws for output in wanted))
    report = checked.report.model_copy(update={"run": None}) if words.reproducible else checked.report
    if any(side.passes for side in report.sides):
        jit.ready()
    code = exit_code(report, strict=words.strict)
    for output in wanted:
        code = max(code, attempted(partial(write, output, report, checked.evidence)))
    for failure in report.plugin_failures:
        say(f"plugin {failure.plugin} failed at {failure.stage}: {failure.message}")
    if not any(output.path is None for output in wanted):
        failed = sum(result.outcome == "fail" for result in report.results)
        count = f", {failed} check{'s' * (failed > 1)} failed" if failed else ""
        say(f"{report.delivery.title}: {report.verdict}{count}")
    return code


def _renderer(words: argparse.Namespace, kind: type[Renderer], path: Path | None) -> Renderer:
    """Build a format for its place, as the words ask for it."""
    if kind is Text:
        return text(words, path)
    if kind is Sarif:
        return Sarif(strict=words.strict)
    if kind is Note:
        return Note.for_path(path, None if words.note_template is None else Path(words.note_template))
    return kind.for_path(path)
