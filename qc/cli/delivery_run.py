"""Steps that every command with a delivery shares: its path, the files that it reads, and a run with its options."""

from __future__ import annotations

import argparse
import contextlib
import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import TypeVar

from qc import api
from qc.cli.progress import Progress
from qc.cli.storing import cache
from qc.cli.streams import say
from qc.delivery.reader import ReadDelivery
from qc.measure.precompile import precompile
from qc.model.errors import UsageError
from qc.plugin_host.host import Host
from qc.ruleset.find import is_path

OptionsT = TypeVar("OptionsT", bound=api.Options)


def delivery_path(words: argparse.Namespace) -> Path:
    """Return the path of the delivery; raises UsageError for an empty one."""
    if not words.delivery:
        what = "the delivery has no name; give a delivery file, or a folder holding delivery.yaml"
        raise UsageError(f"{words.command}: {what}")
    return Path(words.delivery)


def sources(words: argparse.Namespace, read: ReadDelivery) -> list[Path]:
    """Return the files that a run reads: those of the delivery, and its ruleset where that is a file."""
    spec = words.ruleset or read.delivery.ruleset
    return [*read.files, *([Path(spec)] if spec and is_path(spec) else [])]


@contextlib.contextmanager
def run_options(base: OptionsT, words: argparse.Namespace, host: Host, read: ReadDelivery) -> Iterator[OptionsT]:
    """Add to options those that all commands share, for a run that begins now; its progress is shown on stderr.

    The kernels are compiled before.
    """
    precompile(host)
    with Progress(sys.stderr) as progress:
        yield replace(
            base, workers=words.workers, progress=progress.update, cache=cache(words, read), verify=words.verify,
            told=say,
        )  # fmt: skip
