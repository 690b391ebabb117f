"""`sidegate where`: find a place on a side by its radius, its second or its turn, with the groove there."""

from __future__ import annotations

import argparse

from qc import api
from qc.cli.delivery_run import delivery_path, run_options, sources
from qc.cli.plugin_host import host_of
from qc.cli.writing import places, refuse_sources, write_results
from qc.report import registry
from qc.where.request import WhereRequest


def where(words: argparse.Namespace) -> int:
    """Run the command; raises SidegateError for unusable input, before anything is written."""
    path = delivery_path(words)
    request = WhereRequest.parse(words.side, words.radius, words.time, words.turn, words.angle, words.level)
    targets = places(words.out or ["text=-"], registry.formats("where"))
    host = host_of(words)
    read = api.read_any(path, host)
    refuse_sources(targets, sources(words, read))
    asked = api.Options(words.ruleset, (words.side,), chain=tuple(words.chain))
    with run_options(asked, words, host, read) as options:
        found = api.where(path, request, options, host, read)
    return write_results(targets, "where", found, ascii_only=words.ascii)
