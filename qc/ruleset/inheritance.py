"""What a ruleset extends: one parent of an exact version, which may extend another, and never itself."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import NamedTuple

from packaging.version import InvalidVersion

from qc.files.yaml_source import Lined
from qc.model.errors import RulesetError
from qc.ruleset.find import Available, available, find, is_path
from qc.ruleset.merge import Document
from qc.ruleset.model import RulesetFile
from qc.ruleset.read import read_file
from qc.ruleset.released import is_as_released
from qc.ruleset.versions import read_version
from qc.text.sanitize import shown

Read = Callable[[Path], Lined]


class Generation(NamedTuple):
    """A ruleset with all that it extends: where its own file lies, what it says with them, and that as a model."""

    there: Available
    document: Document
    file: RulesetFile


def generations(found: Available, folders: Sequence[Path], read: Read = read_file) -> Iterator[Generation]:
    """Give every generation of a ruleset, the one that extends nothing first, itself last, each found to be sound.

    Raises RulesetError with one sentence, "FILE:LINE: ...", in the file that is at fault.
    """
    document: Document | None = None
    for there, lined in reversed(_files(found, folders, read)):
        document = Document.of(lined) if document is None else document.extended_by(lined)
        is_as_released(there.path, lined.sha256)
        yield Generation(there, document, document.validated(RulesetFile))


def _files(found: Available, folders: Sequence[Path], read: Read) -> list[tuple[Available, Lined]]:
    """Read a file and all that it extends, nearest first."""
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


def _full_name(lined: Lined) -> str:
    try:
        return f"{lined.data.get('name')}@{read_version(str(lined.data.get('version')))}"
    except InvalidVersion:  # the models say so
        return ""


def _parent(lined: Lined, folders: Sequence[Path]) -> Available | None:
    """Find what a file extends; None when it extends nothing."""
    if "extends" not in lined.data:
        return None
    spec, where = lined.data["extends"], lined.at(("extends",))
    if not isinstance(spec, str) or not spec.strip():
        raise RulesetError(f'{where}: "extends" is empty or holds several; name one ruleset, as NAME@VERSION')
    if is_path(spec):
        how = "as NAME@VERSION, not by a path; lay the other file into a folder of rulesets, as NAME/VERSION.yaml"
        raise RulesetError(f"{where}: what a ruleset extends is named {how}")
    name, _, version = (part.strip() for part in spec.partition("@"))
    versions = [one.version for one in available(folders) if one.name == name]
    try:
        read_version(version)
    except InvalidVersion:
        if versions:
            one = f"it extends one exact version, so write {name}@{versions[-1]}"
            raise RulesetError(f'{where}: "{shown(spec)}" may become another ruleset one day; {one}') from None
    try:
        return find(spec, folders)
    except RulesetError as error:
        raise RulesetError(f"{where}: {error}") from None
