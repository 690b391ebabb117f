"""Where a command keeps what it measured: beside the delivery, in a folder that was named, or nowhere."""

from __future__ import annotations

import argparse
from pathlib import Path

from qc.delivery.reader import ReadDelivery
from qc.errors import UsageError
from qc.stored.store import NAME


def cache(words: argparse.Namespace, read: ReadDelivery) -> Path | None:
    """Give the folder that the words ask for; None where nothing is to be stored."""
    if words.no_cache:
        return None
    if words.cache is None:
        return read.folder / NAME
    if not words.cache:
        raise UsageError("--cache: the folder has no name; name one, or say --no-cache")
    return Path(words.cache)
