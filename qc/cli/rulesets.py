"""`sidegate rulesets`: what there is to judge by; `sidegate rulesets diff`: what another one would change."""

from __future__ import annotations

import argparse
import hashlib
from collections.abc import Sequence
from pathlib import Path

from qc.cli.streams import emit, say
from qc.ruleset.find import Available, available
from qc.ruleset.released import edited
from qc.ruleset.summary import summary
from qc.text.table import text_columns


def rulesets(words: argparse.Namespace) -> int:
    """Run the command; raises SidegateError for what cannot be used."""
    if words.what == "diff":
        from qc.cli.rulesets_diff import diff  # what it takes would make the list slow

        return diff(words)
    return listed()


def listed() -> int:
    """List rulesets: name@version, what they serve, the digest in reports; 2 where a released file was edited."""
    from qc.plugin_host.folders import ruleset_folders

    folders = ruleset_folders()
    known = available(folders)
    rows = [("RULESET", "SERVES", "SHA-256"), *(_row(there, folders) for there in known)]
    emit(text_columns(rows).encode())
    faults = [fault for there in known if (fault := _edited(there.path))]
    for fault in faults:
        say(fault)
    return 2 if faults else 0


def _row(there: Available, folders: Sequence[Path]) -> tuple[str, str, str]:
    found = summary(there, folders)
    serves = "only extended" if found.disc is None else " at ".join(found.disc)
    return f"{there.name}@{there.version}", serves, found.sha256[:16]


def _edited(path: Path) -> str | None:
    return edited(path, hashlib.sha256(path.read_bytes()).hexdigest())
