"""`sidegate where`: find a place on a side by its radius, its second or its turn, with the groove there."""

from __future__ import annotations

import argparse
import sys
from functools import partial
from pathlib import Path

from qc import api
from qc.cli.plugin_host import host_of
from qc.cli.progress import Progress
from qc.cli.storing import cache
from qc.cli.streams import say
from qc.cli.writing import attempted, places, refuse_sources, write_result
from qc.measure.precompile import precompile
from qc.model.errors import UsageError
from qc.report import registry
from qc.ruleset.find import is_path
from qc.where.request import WhereRequest


def where(words: argparse.Namespace) -> int:
    """Run the command; raises SidegateError for unusable input, before anything is written."""
    if not words.delivery:
        raise UsageError("where: the delivery has no name; give a delivery file, or a folder holding delivery.yaml")
    request = WhereRequest.parse(words.side, words.radius, words.time, words.turn, words.angle, words.level)
    targets = places(words.out or ["text=-"], registry.formats("where"))
    host = host_of(words)
    path = Path(words.delivery)
    read = api.read_any(path, host)
    spec = words.ruleset or read.delivery.ruleset
    refuse_sources(targets, [*read.files, *([Path(spec)] if spec and is_path(spec) else [])])
    precompile(host)
    with Progress(sys.stderr) as progress:
        options = api.Options(
            words.ruleset, (words.side,), words.workers, progress.update, tuple(words.chain),
            cache=cache(words, read), verify=words.verify, told=say,
        )  # fmt: skip
        found = api.where(path, request, options, host, read)
    code = 0
    for output in targets:
        code = max(code, attempted(partial(write_result, output, "where", found, ascii_only=words.ascii)))
    return code
