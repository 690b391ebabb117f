"""The case files of a folder, and the ruleset file next to them."""

from __future__ import annotations

import os
import re
from pathlib import Path

from qc.files.bounded_read import UnreadableFileError, read_bytes
from qc.files.yaml_source import LARGEST
from qc.model.names import CHECK_ID
from qc.ruleset.find import SUFFIXES
from qc.testing.case_file import CaseError
from qc.text.sanitize import shown

OUTCOMES = {"pass": "pass", "warn": "warn", "fail": "fail", "waived": "waived", "na": "not_applicable"}
"""Beginning of the name of a case file -> outcome in the report."""
NAMED = re.compile(rf"({'|'.join(OUTCOMES)})-[a-z0-9][a-z0-9.-]*")

_RULESET = (re.compile(rb"^version[ \t]*:", re.MULTILINE), re.compile(rb"^(extends|serves)[ \t]*:", re.MULTILINE))
"""Keys at the beginning of a line that every ruleset which can judge has."""
_ABSTRACT = re.compile(rb"^abstract[ \t]*:", re.MULTILINE)


def case_files(place: Path) -> list[Path]:
    """Return the case files of a folder and of those inside it, in order, or the one file that is named.

    Every YAML file in a folder named for a check is a case, and so is every YAML file that is named as one, so that
    none is left out for a slip in either name. Folders whose name begins with a dot are left out. Raises CaseError
    where there is no case.
    """
    name = shown(str(place), longest=500)
    if place.is_file():
        return [place]
    if not place.is_dir():
        raise CaseError(f"{name}: there is no such file or folder; name a folder of cases")
    found = []
    for folder, folders, files in os.walk(place):
        folders[:] = sorted(inner for inner in folders if not inner.startswith("."))
        found += [path for path in (Path(folder) / file for file in sorted(files)) if _is_case(path)]
    if not found:
        raise CaseError(f"{name}: there is no case; put them into CHECK ID/OUTCOME-why.yaml")
    return found


def check_of(path: Path) -> str:
    """Return the id of the check that a case file is about: the name of its folder."""
    return path.resolve().parent.name


def case_name(path: Path) -> str:
    """Return the name that a filter is compared with: CHECK ID/OUTCOME-why."""
    return f"{check_of(path)}/{path.stem}"


def _is_case(path: Path) -> bool:
    named = CHECK_ID.fullmatch(check_of(path)) or NAMED.fullmatch(path.stem)
    return path.suffix in SUFFIXES and named is not None


def nearby_ruleset(case: Path) -> Path | None:
    """Return the ruleset file next to the folder of a case's check, else the one in the folder above; None without any.

    Of CASES/CHECK ID/OUTCOME-why.yaml these are CASES and the folder that holds it. Raises CaseError for several.
    """
    cases = case.resolve().parent.parent
    for folder in (cases, cases.parent):
        found = [path for path in _files(folder) if path.suffix in SUFFIXES and _is_ruleset(path)]
        if len(found) > 1:
            names = ", ".join(shown(path.name) for path in found)
            raise CaseError(
                f"{shown(str(case), longest=500)}: there are several rulesets in {shown(str(folder), longest=500)} "
                f'({names}); name one as "ruleset" in the case, or with --ruleset'
            )
        if found:
            return found[0]
    return None


def _files(folder: Path) -> list[Path]:
    try:
        return sorted(path for path in folder.iterdir() if path.is_file())
    except OSError:  # not everyone may read what is above a folder
        return []


def _is_ruleset(path: Path) -> bool:
    """Whether a file has the keys of a ruleset, valid or not, which is no parent that is only there to be extended."""
    try:
        text = read_bytes(path, LARGEST)
    except UnreadableFileError:
        return False
    return all(key.search(text) for key in _RULESET) and _ABSTRACT.search(text) is None
