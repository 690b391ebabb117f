"""One ruleset file read: what is not built yet is refused by name, the rest held against the models."""

from __future__ import annotations

from pathlib import Path

from packaging.specifiers import InvalidSpecifier, SpecifierSet

import qc
from qc.errors import RulesetError
from qc.lined import Lined, load_lined, validate
from qc.ruleset.model import RulesetFile
from qc.wording import shown

_PLANNED = {
    "extends": "extends is not built yet; write the whole ruleset out",
    "measures": 'measures is not built yet; limits can be held by installed checks only, under "limits"',
}


def read_file(path: Path) -> tuple[Lined, RulesetFile]:
    """Read a ruleset file; raises RulesetError with one sentence, "FILE:LINE: ..."."""
    lined = load_lined(path, "ruleset", RulesetError)
    for key in lined.data:
        if key in _PLANNED:
            raise RulesetError(f"{lined.at((key,))}: {_PLANNED[key]}")
    _fits_this_tool(lined)
    return lined, validate(lined, RulesetFile, RulesetError)


def _fits_this_tool(lined: Lined) -> None:
    """Ask first whether the file is for this tool at all, since a newer one may hold keys unknown here."""
    wanted = lined.data.get("needs_tool")
    try:
        fits = not isinstance(wanted, str) or SpecifierSet(wanted).contains(qc.__version__, prereleases=True)
    except InvalidSpecifier:
        return  # the models say so
    if not fits:
        raise RulesetError(
            f"{lined.at(('needs_tool',))}: this ruleset needs sidegate {shown(str(wanted))}, and this is "
            f"{qc.__version__}; install another version of sidegate or name another version of the ruleset"
        )
