"""The files of a ruleset: its own, that of the one it extends, and so on to one that extends nothing."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

from packaging.version import InvalidVersion, Version

from qc.files.yaml_source import YamlSource
from qc.model.errors import RulesetError
from qc.ruleset.find import Available, available, find, is_path
from qc.ruleset.read import read_file
from qc.ruleset.versions import read_version

Read = Callable[[Path], YamlSource]


def ancestry(found: Available, folders: Sequence[Path], read: Read = read_file) -> list[tuple[Available, YamlSource]]:
    """Read the file of a ruleset and those of all that it extends, nearest first.

    Raises RulesetError with one sentence, "FILE:LINE: ...", for a parent that is not there, and for a circle.
    """
    files = [(found, read(found.path))]
    names = [_full_name(files[0][1])]
    while (parent := _parent(files[-1][1], folders)) is not None:
        name = f"{parent.name}@{read_version(parent.version)}"
        if name in names:
            where = files[-1][1].at(("extends",))
            circle = " extends ".join([*names[names.index(name) :], name])
            raise RulesetError(f"{where}: a ruleset cannot extend itself ({circle}); name another one")
        names.append(name)
        files.append((parent, read(parent.path)))
    return files


def _full_name(yaml_source: YamlSource) -> str:
    try:
        return f"{yaml_source.data.get('name')}@{read_version(str(yaml_source.data.get('version')))}"
    except InvalidVersion:  # the models say so
        return ""


def _parent(yaml_source: YamlSource, folders: Sequence[Path]) -> Available | None:
    """Find the ruleset that a file extends; None when it extends nothing."""
    if "extends" not in yaml_source.data:
        return None
    spec, where = yaml_source.data["extends"], yaml_source.at(("extends",))
    if not isinstance(spec, str) or not spec.strip():
        raise RulesetError(f'{where}: "extends" is empty or holds several; name one ruleset, as NAME@VERSION')
    if is_path(spec):
        how = "as NAME@VERSION, not by a path; lay the other file into a folder of rulesets, as NAME/VERSION.yaml"
        raise RulesetError(f"{where}: what a ruleset extends is named {how}")
    name, _, version = (part.strip() for part in spec.partition("@"))
    pinned = _pinned(version)
    try:
        versions = available(folders, name) if name[:1].isalnum() else ()
        if pinned is not None or not versions:
            found = (there for there in versions if read_version(there.version) == pinned)
            return next(found, None) or find(spec, folders, to_extend=True)  # which names the nearest
    except RulesetError as error:
        raise type(error)(f"{where}: {error}") from None
    raise RulesetError(f'{where}: "extends" needs an exact version; write {name}@{versions[-1].version}')


def _pinned(version: str) -> Version | None:
    try:
        return read_version(version)
    except InvalidVersion:
        return None
