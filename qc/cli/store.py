"""`sidegate store`: where measurements are stored and how much that is, or deleting all of them."""

from __future__ import annotations

import argparse

from qc.cache.place import LONG, place
from qc.cache.sweep import LIMIT, Contents, clear, contents
from qc.cli.streams import emit
from qc.model.errors import UsageError
from qc.text.sanitize import shown

MEBIBYTE = 2**20
GIBIBYTE = 2**30


def store(words: argparse.Namespace) -> int:
    """Run the command; raises UsageError if there is no folder, or if it is a link."""
    where = place(words.cache)
    folder = where.folder
    if folder is None:
        raise UsageError(f"store: {where.why}")
    named = shown(str(folder), LONG)
    if folder.is_symlink():
        raise UsageError(f"store: {named} is a link, and links are not followed; name the folder itself with --cache")
    if words.what == "clear":
        deleted = clear(folder)
        lines = [f"{_amount(deleted)}, deleted from {named}"]
        if deleted.kept:
            raise UsageError(f"store: {deleted.kept} entries in {named} cannot be deleted; look who owns them")
    else:
        lines = [
            named,
            f"{_amount(contents(folder))}; limit {LIMIT / GIBIBYTE:g} GiB, the least recently used go first",
        ]
    emit("".join(f"{line}\n" for line in lines).encode("utf-8", "replace"))
    return 0


def _amount(stored: Contents) -> str:
    return f"{stored.entries} {'entry' if stored.entries == 1 else 'entries'}, {stored.size / MEBIBYTE:.1f} MiB"
