"""`sidegate rulesets`: list the installed rulesets; `sidegate rulesets diff` compares two."""

from __future__ import annotations

import argparse
import hashlib
from collections.abc import Container, Sequence
from functools import cache
from pathlib import Path

from qc.cli.plugin_host import switched_off
from qc.cli.streams import emit, say
from qc.ruleset.ancestry import Read, ancestry
from qc.ruleset.find import Available, available, doubled
from qc.ruleset.read import read_file
from qc.ruleset.released import edited
from qc.ruleset.summary import summary
from qc.text.table import text_columns


def rulesets(words: argparse.Namespace) -> int:
    """Run the command; raises SidegateError for unusable input."""
    if words.what == "diff":
        from qc.cli.rulesets_diff import diff  # its imports would slow down the list

        return diff(words)
    return listed()


def listed() -> int:
    """List rulesets with discs and digests; return 2 if a released one was edited, 3 if one was left out."""
    from qc.plugin_host.folders import ruleset_folders

    folders = ruleset_folders(without=switched_off(()))
    rulesets, read = available(folders), cache(read_file)
    faults = {ruleset.path: fault for ruleset in rulesets if (fault := _edited(ruleset.path))}
    rows = [("RULESET", "SERVES", "SHA-256"), *(_row(ruleset, folders, faults, read) for ruleset in rulesets)]
    emit(text_columns(rows).encode())
    for fault in faults.values():
        say(fault)
    later = doubled(folders)
    for ruleset, first in later:
        say(f"{ruleset.path} is left out, since {ruleset.name}@{ruleset.version} is there already, in {first}")
    return 3 if later else 2 if faults else 0


def _row(ruleset: Available, folders: Sequence[Path], edits: Container[Path], read: Read) -> tuple[str, str, str]:
    """Return the cells of a row; the digest of an edited ruleset, and of what extends it, is marked."""
    facts = summary(ruleset, folders, read)
    serves = "only extended" if facts.disc is None else " at ".join(facts.disc)
    own, *parents = (place.path in edits for place, _ in ancestry(ruleset, folders, read))
    mark = " (edited)" if own else " (extends an edited one)" if any(parents) else ""
    return f"{ruleset.name}@{ruleset.version}", serves, facts.sha256[:16] + mark


def _edited(path: Path) -> str | None:
    return edited(path, hashlib.sha256(path.read_bytes()).hexdigest())
