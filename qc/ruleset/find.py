"""The rulesets in some folders, and the one that a name, a name with a version, or a path means."""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator
from glob import escape
from pathlib import Path
from typing import NamedTuple

from packaging.version import InvalidVersion, Version

from qc.model.errors import MissingRulesetError, RulesetError
from qc.ruleset.read import is_abstract, read_file
from qc.ruleset.versions import read_version
from qc.text.sanitize import shown
from qc.text.suggest import meant

SUFFIXES = (".yaml", ".yml")


class Available(NamedTuple):
    """A ruleset file; name and version as folder and file name say, empty when it was named by path."""

    path: Path
    name: str = ""
    version: str = ""

    @property
    def released(self) -> bool:
        """Whether it is no release candidate or the like."""
        return not read_version(self.version).is_prerelease


def available(folders: Iterable[Path], name: str | None = None) -> tuple[Available, ...]:
    """List every <name>/<version>.yaml in the folders, or those of one name, by name and rising version.

    Of several files of one name and version the first counts, in the order of the folders. Raises RulesetError when a
    file is not named for a version.
    """
    found: dict[tuple[str, Version], Available] = {}
    for key, there in _files(folders, name):
        found.setdefault(key, there)
    return tuple(found[key] for key in sorted(found))


def doubled(folders: Iterable[Path]) -> tuple[tuple[Available, Path], ...]:
    """Return each file whose name and version an earlier one has, with the path of that one.

    Raises RulesetError when a file is not named for a version.
    """
    found: dict[tuple[str, Version], Path] = {}
    later = []
    for key, there in _files(folders):
        first = found.setdefault(key, there.path)
        if first != there.path and first.resolve() != there.path.resolve():
            later.append((there, first))
    return tuple(later)


def _files(folders: Iterable[Path], name: str | None = None) -> Iterator[tuple[tuple[str, Version], Available]]:
    """Yield every <name>/<version>.yaml with its name and version, folder by folder."""
    pattern = f"{'*' if name is None else escape(name)}/*"
    for path in (path for folder in folders for path in sorted(Path(folder).glob(pattern))):
        if path.suffix not in SUFFIXES or not path.is_file():
            continue
        try:
            key = (path.parent.name, read_version(path.stem))
        except InvalidVersion:
            file = shown(str(path), longest=500)
            raise RulesetError(f"{file}: the file is not named for a version; name it like 1.0.0.yaml") from None
        yield key, Available(path, path.parent.name, path.stem)


def is_path(spec: str) -> bool:
    """Whether "NAME[@VERSION]" or the path of a file is meant."""
    return spec.endswith(SUFFIXES) or any(sep in spec for sep in (os.sep, os.altsep, "/") if sep)


def find(spec: str, folders: Iterable[Path], *, to_extend: bool = False) -> Available:
    """Find "NAME@VERSION", the highest released version of "NAME", or the file that a path leads to.

    Raises RulesetError, with the nearest name or version there is, MissingRulesetError where nothing has the name; an
    abstract one is suggested only `to_extend` it.
    """
    if is_path(spec):
        return Available(Path(spec))
    rulesets = available(folders)
    name, pinned, wanted = (part.strip() for part in spec.partition("@"))
    versions = [there for there in rulesets if there.name == name]
    if not versions:
        newest = {there.name: there for there in rulesets}
        names = [other for other, there in newest.items() if to_extend or not _is_abstract(there)]
        raise MissingRulesetError(f'no ruleset is called "{shown(name)}"; {meant(name, names)}')
    return _version(name, wanted, versions) if pinned else _highest(name, versions)


def _is_abstract(there: Available) -> bool:
    try:
        return is_abstract(read_file(there.path))
    except RulesetError:  # a fault of a file that was not asked for
        return False


def _version(name: str, wanted: str, versions: list[Available]) -> Available:
    try:
        version = read_version(wanted)
    except InvalidVersion:
        raise RulesetError(
            f'"{shown(wanted)}" is not a version; write {name}@{versions[-1].version}, for example'
        ) from None
    for there in versions:
        if read_version(there.version) == version:
            return there
    others = [there.version for there in versions]
    raise RulesetError(f"{name} has no version {version}; {meant(str(version), others)}")


def _highest(name: str, versions: list[Available]) -> Available:
    released = [there for there in versions if there.released]
    if not released:
        last = versions[-1].version
        raise RulesetError(f"{name} has no released version yet; to use an unreleased one, write {name}@{last}")
    return released[-1]
