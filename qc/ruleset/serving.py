"""The ruleset that serves a disc."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from qc.model.errors import MissingRulesetError, RulesetError
from qc.ruleset.ancestry import Read
from qc.ruleset.find import Available, available
from qc.ruleset.read import read_file
from qc.ruleset.summary import summary


def serving(size: str, speed: str, folders: Sequence[Path], read: Read = read_file) -> Available:
    """Find the one ruleset, at its highest released version, that serves a disc.

    An abstract ruleset serves none. One that extends another that serves a disc, or anything from another folder, comes
    after the others: installing a house's rules does not change what other deliveries are judged by. Raises
    MissingRulesetError when none serves, RulesetError when several do.
    """
    newest = {there.name: there for there in available(folders) if there.released}
    found = {name: summary(there, folders, read) for name, there in newest.items()}
    serve = [name for name, its in found.items() if its.disc == (size, speed)]
    serve = [name for name in serve if not found[name].extends] or serve
    if len(serve) == 1:
        return newest[serve[0]]
    disc = f"a {size} disc at {speed}"
    if serve:
        raise RulesetError(f"{', '.join(serve)} all serve {disc}; say which one is meant, by its name")
    others = ", ".join(sorted({" at ".join(its.disc) for its in found.values() if its.disc})) or "no disc at all"
    raise MissingRulesetError(f"no ruleset serves {disc}; those installed serve {others}")
