"""The store of measurements of a command: a named folder, the user's own, or none."""

from __future__ import annotations

import argparse
from pathlib import Path

from qc.cache.place import outside, place, sent
from qc.cli.streams import say
from qc.delivery.reader import ReadDelivery


def cache(words: argparse.Namespace, read: ReadDelivery) -> Path | None:
    """Return the folder of stored measurements, or None; report on stderr a store of the delivery that is not used."""
    if sentence := sent(read.folder):
        say(sentence)
    verbose = getattr(words, "verbose", False)
    if words.no_cache:
        if verbose:
            say("every analysis is measured: --no-cache, so no measurement is read or stored")
        return None
    where = outside(place(words.cache), read.folder)
    if where.why:
        say(where.why)
    return where.folder
