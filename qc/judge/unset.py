"""Warn about limits of a house ruleset that may fail at the recommended level."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

from qc.groove.geometry.cut import rises
from qc.judge.bind import Bound
from qc.model.names import limit_key
from qc.ruleset.load import RawLimit, Ruleset


def unset_limits(ruleset: Ruleset, bound: Bound, shipped: Sequence[Path]) -> Iterator[str]:
    """Yield a sentence for each limit that can fail, depends on the cut level, and does not set the level.

    Limits in a `shipped` folder are left out: a house cannot edit those, and their reports state it.
    """
    reported: set[tuple[str, str]] = set()
    for row in bound.rows:
        key = limit_key(row.key)
        limit = ruleset.all_limits[row.check][key]
        follows = row.fail is not None and row.sets_level is None and rises(row.measure, row.op)
        if follows and (row.check, key) not in reported and not _lies_in(limit, shipped):
            reported.add((row.check, key))
            yield (
                f"{limit.origin}: {row.name} fails above some cut level and does not set the level, so that a side may "
                'fail it at the very level that is recommended; add "sets_level: fail" to it, or leave out its "fail"'
            )


def _lies_in(limit: RawLimit, folders: Sequence[Path]) -> bool:
    path = None if limit.path is None else limit.path.resolve()
    return path is not None and any(path.is_relative_to(folder.resolve()) for folder in folders)
