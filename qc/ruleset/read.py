"""One ruleset file read with its lines, once it is clear that this tool can read it."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

from packaging.specifiers import InvalidSpecifier

import qc
from qc.files.yaml_source import YamlSource, name_of, parse_yaml, yaml_bytes
from qc.model.errors import RulesetError
from qc.ruleset.versions import read_specifier
from qc.text.sanitize import shown


def read_file(path: Path) -> YamlSource:
    """Read a ruleset file as it is written; raises RulesetError with one sentence, "FILE:LINE: ..."."""
    return _parsed(yaml_bytes(path, "ruleset", RulesetError), path)


@lru_cache(maxsize=64)
def _parsed(text: bytes, path: Path) -> YamlSource:
    """Parse a ruleset file; kept in the process, which may judge many deliveries by the same rulesets."""
    yaml_source = parse_yaml(text, name_of(path), "ruleset", RulesetError, path=path)
    _fits_this_tool(yaml_source)
    return yaml_source


def is_abstract(yaml_source: YamlSource) -> bool:
    """Whether a file is only there to be extended."""
    return yaml_source.data.get("abstract") == "true"


def _fits_this_tool(yaml_source: YamlSource) -> None:
    """Ask first whether the file is for this tool at all, since a newer one may hold keys unknown here."""
    wanted = yaml_source.data.get("needs_tool")
    try:
        fits = not isinstance(wanted, str) or read_specifier(wanted).contains(qc.__version__, prereleases=True)
    except InvalidSpecifier:
        return  # the models say so
    if not fits:
        raise RulesetError(
            f"{yaml_source.at(('needs_tool',))}: this ruleset needs sidegate {shown(str(wanted))}, and this is "
            f"{qc.__version__}; install another version of sidegate or name another version of the ruleset"
        )
