"""Where a command stores what it measured: in a folder that was named, in the user's own, or nowhere."""

from __future__ import annotations

import argparse
from pathlib import Path

from qc.cache.place import outside, place, sent
from qc.cli.streams import say
from qc.delivery.reader import ReadDelivery


def cache(words: argparse.Namespace, read: ReadDelivery) -> Path | None:
    """Return the folder to store measurements in, None for none; says what of a delivery's own store is not used."""
    if said := sent(read.folder):
        say(said)
    if words.no_cache:
        return None
    where = outside(place(words.cache), read.folder)
    if where.why:
        say(where.why)
    return where.folder
