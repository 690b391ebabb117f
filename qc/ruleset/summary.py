"""A ruleset summarised from its YAML alone, without its models: enough to list it and to find it by its disc."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

from packaging.version import InvalidVersion

from qc.model.discs import DISCS
from qc.ruleset.ancestry import Read, ancestry
from qc.ruleset.find import Available
from qc.ruleset.read import is_abstract, read_file
from qc.ruleset.released import digest
from qc.ruleset.versions import read_version


class Summary(NamedTuple):
    """The disc that a ruleset serves, and the digest that reports name it by."""

    disc: tuple[str, str] | None
    """size and speed; None for an abstract ruleset, which is only there to be extended"""
    sha256: str
    extends: bool
    """whether it extends one that serves a disc itself, or one from another folder: it varies what was there"""


def summary(found: Available, folders: Sequence[Path], read: Read = read_file) -> Summary:
    """Summarise a ruleset; raises RulesetError with one sentence, "FILE:LINE: ...", for one that cannot be used."""
    places, files = zip(*ancestry(found, folders, read), strict=True)
    own = files[0].data
    serves = next((file.data["serves"] for file in files if "serves" in file.data), None)
    size, speed = (serves.get("size"), serves.get("speed")) if isinstance(serves, dict) else (None, None)
    abstract = is_abstract(files[0])
    is_whole = abstract or ("abstract" not in own and (size, speed) in DISCS)
    extends = not all(is_abstract(file) for file in files[1:]) or len({_folder(place) for place in places}) > 1
    is_named = own.get("name") == found.name and _is_version(own.get("version"), found.version)
    if not is_named or not is_whole:
        return _loaded(found, folders, read, extends)
    sha256: str | None = None
    for file in reversed(files):
        sha256 = digest(file.sha256, sha256)
    assert sha256 is not None  # there is always the file itself
    return Summary(None if abstract else (str(size), str(speed)), sha256, extends)


def _folder(place: Available) -> Path:
    """Return the folder of rulesets that a file lies in."""
    return place.path.parent.parent.resolve()


def _is_version(written: object, version: str) -> bool:
    try:
        return read_version(str(written)) == read_version(version)
    except InvalidVersion:
        return False


def _loaded(found: Available, folders: Sequence[Path], read: Read, extends: bool) -> Summary:
    from qc.ruleset.load import load_ruleset  # its models make a list of rulesets slow
    from qc.ruleset.sources import Sources

    ruleset = load_ruleset(found, Sources(folders), read)
    return Summary(ruleset.serves, ruleset.sha256, extends)
