"""The first lines of a ruleset file, told without reading the rest: name, version, and the disc it serves.

What a file extends is asked for the disc that the file itself leaves out, by its heading too.
"""

from __future__ import annotations

import functools
import hashlib
import re
from collections.abc import Mapping
from pathlib import Path
from typing import NamedTuple

from qc.ruleset.released import digest

_COMMENT = r"[ ]*(?:[ ]#.*)?"
_LINES = {
    "schema": re.compile(rf"schema: 1{_COMMENT}"),
    "name": re.compile(rf"name: (?!(?:null|Null|NULL)\b)([A-Za-z0-9][A-Za-z0-9._-]*){_COMMENT}"),
    "version": re.compile(rf"version: ([0-9]+(?:\.[0-9]+)*){_COMMENT}"),
    "extends": re.compile(rf"extends: ([A-Za-z0-9][A-Za-z0-9._-]*)@([0-9]+(?:\.[0-9]+)*){_COMMENT}"),
    "needs_tool": re.compile(rf'needs_tool: "([<>=!~0-9., ]+)"{_COMMENT}'),
    "requires": re.compile(rf'requires: \{{[A-Za-z0-9._-]+: "[<>=!~0-9., ]+"\}}{_COMMENT}'),
    "serves": re.compile(rf"serves: \{{size: (12in|10in|7in), speed: (33|45)\}}{_COMMENT}"),
}
"""The keys that may stand before the chain, each as it is written plainly."""
LARGEST = 1 << 18
"""bytes of a ruleset, as the reader of the whole file has it"""
LONGEST_LINE = 1000
"""Characters of a line that these patterns are tried on; with longer ones the whole file is read."""
_BODY = re.compile(r"(?:chain|level|limits|measures|off):(?: .*)?")
"""How a line without indent looks behind the heading of a ruleset that extends another."""


class Heading(NamedTuple):
    """What a ruleset file says of itself, and the digest that reports name it by."""

    name: str
    version: str
    size: str
    speed: str
    sha256: str
    extends: bool = False
    """whether it extends another one"""


def heading(path: Path, known: Mapping[tuple[str, str], Path] | None = None) -> Heading | None:
    """Give the heading of a file that is written as the shipped ones are; None where only the whole file tells.

    `known` says where the rulesets lie that it may extend, by name and version.
    """
    return _heading(path, known or {}, ())


def _heading(path: Path, known: Mapping[tuple[str, str], Path], children: tuple[Path, ...]) -> Heading | None:
    try:
        with path.open("rb") as file:
            whole = file.read(LARGEST + 1)
        found = _matched(whole.decode("utf-8"))
    except (OSError, UnicodeDecodeError):
        return None
    if len(whole) > LARGEST:  # no ruleset; whoever reads the whole file says so
        return None
    tool = found.get("needs_tool")
    if not {"schema", "name", "version"} <= set(found) or (tool is not None and not _fits_this_tool(tool[1])):
        return None
    parent = None
    if "extends" in found:
        there = known.get((found["extends"][1], found["extends"][2]))
        parent = None if there is None or path in children else _heading(there, known, (*children, path))
        if parent is None:
            return None
    if "serves" in found:
        size, speed = found["serves"].groups()
    elif parent is not None:
        size, speed = parent.size, parent.speed
    else:
        return None
    own = hashlib.sha256(whole).hexdigest()
    sha256 = digest(own, None if parent is None else parent.sha256)
    return Heading(found["name"][1], found["version"][1], size, speed, sha256, parent is not None)


def _matched(text: str) -> dict[str, re.Match[str]]:
    """Match the lines before the chain; nothing is found where one of them is not plain, or stands there twice."""
    found: dict[str, re.Match[str]] = {}
    lines = text.splitlines()
    if max(map(len, lines), default=0) > LONGEST_LINE:
        return {}
    for index, line in enumerate(lines):
        if line == "chain:":
            return found if "extends" not in found or _is_body(lines[index:]) else {}
        key = line.partition(":")[0]
        if not line or line.startswith("#"):
            continue
        if "extends" in found and _BODY.fullmatch(line):
            return found if _is_body(lines[index:]) else {}
        match = _LINES[key].fullmatch(line) if key in _LINES else None
        if match is None or key in found:
            return {}
        found[key] = match
    return found if "extends" in found else {}


def _is_body(lines: list[str]) -> bool:
    """Whether no key of a heading stands in the rest; one that did could not be taken from what is extended."""
    return all(not line or line[0] in " #" or _BODY.fullmatch(line) for line in lines)


@functools.cache
def _fits_this_tool(wanted: str) -> bool:
    from packaging.specifiers import InvalidSpecifier

    import qc
    from qc.ruleset.versions import read_specifier

    try:
        return read_specifier(wanted).contains(qc.__version__, prereleases=True)
    except InvalidSpecifier:
        return False
