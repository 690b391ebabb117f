"""Which ruleset serves a disc."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import NamedTuple

from qc.model.errors import RulesetError
from qc.ruleset.find import Available, available, paths
from qc.ruleset.heading import heading
from qc.ruleset.inheritance import generations


def serving(size: str, speed: str, folders: Sequence[Path]) -> Available:
    """Find the one ruleset, at its highest released version, that serves a disc.

    One that extends another is chosen by its name, and stands behind those that extend none: whoever installs a house's
    rules does not change what others' deliveries are judged by. Raises RulesetError when none or several serve.
    """
    known = available(folders)
    newest = {one.name: one for one in known if one.released}
    told = {name: _served(one, known, folders) for name, one in newest.items()}
    discs = {name: one.disc for name, one in told.items()}
    serve = [name for name, disc in discs.items() if disc == (size, speed)]
    serve = [name for name in serve if not told[name].extends] or serve
    if len(serve) == 1:
        return newest[serve[0]]
    disc = f"a {size} disc at {speed}"
    if serve:
        raise RulesetError(f"{', '.join(serve)} all serve {disc}; say which one is meant, by its name")
    there = ", ".join(sorted({" at ".join(disc) for disc in discs.values()})) or "no disc at all"
    raise RulesetError(f"no ruleset serves {disc}; those installed serve {there}")


class _Served(NamedTuple):
    disc: tuple[str, str]
    """size and speed"""
    extends: bool


def _served(one: Available, known: Iterable[Available], folders: Sequence[Path]) -> _Served:
    """Say which disc a ruleset serves and whether it extends another, from headings where those tell."""
    told = heading(one.path, paths(known))
    if told is not None:
        return _Served((told.size, told.speed), told.extends)
    several = list(generations(one, folders))
    serves = several[-1].file.serves
    return _Served((serves.size, serves.speed), len(several) > 1)
