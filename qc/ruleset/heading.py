"""The first lines of a ruleset file, told without reading the rest: name, version, and the disc it serves."""

from __future__ import annotations

import hashlib
import re
from pathlib import Path
from typing import NamedTuple

_COMMENT = r"[ ]*(?:[ ]#.*)?"
_LINES = {
    "schema": re.compile(rf"schema: 1{_COMMENT}"),
    "name": re.compile(rf"name: (?!(?:null|Null|NULL)\b)([A-Za-z0-9][A-Za-z0-9._-]*){_COMMENT}"),
    "version": re.compile(rf"version: ([0-9]+(?:\.[0-9]+)*){_COMMENT}"),
    "needs_tool": re.compile(rf'needs_tool: "([<>=!~0-9., ]+)"{_COMMENT}'),
    "requires": re.compile(rf'requires: \{{[A-Za-z0-9._-]+: "[<>=!~0-9., ]+"\}}{_COMMENT}'),
    "serves": re.compile(rf"serves: \{{size: (12in|10in|7in), speed: (33|45)\}}{_COMMENT}"),
}
"""The keys that may stand before the chain, each as it is written plainly."""


class Heading(NamedTuple):
    """What a ruleset file says of itself, and the digest of the whole file."""

    name: str
    version: str
    size: str
    speed: str
    sha256: str


def heading(path: Path) -> Heading | None:
    """Give the heading of a file that is written as the shipped ones are; None where only the whole file tells."""
    try:
        whole = path.read_bytes()
        found = _matched(whole.decode("utf-8"))
    except (OSError, UnicodeDecodeError):
        return None
    if not {"schema", "name", "version", "serves"} <= set(found) or not _fits_this_tool(found.get("needs_tool")):
        return None
    size, speed = found["serves"].groups()
    return Heading(found["name"][1], found["version"][1], size, speed, hashlib.sha256(whole).hexdigest())


def _matched(text: str) -> dict[str, re.Match[str]]:
    """Match the lines before the chain; nothing is found where one of them is not plain, or stands there twice."""
    found: dict[str, re.Match[str]] = {}
    for line in text.splitlines():
        if line == "chain:":
            return found
        key = line.partition(":")[0]
        if not line or line.startswith("#"):
            continue
        match = _LINES[key].fullmatch(line) if key in _LINES else None
        if match is None or key in found:
            break
        found[key] = match
    return {}


def _fits_this_tool(wanted: re.Match[str] | None) -> bool:
    if wanted is None:
        return True
    from packaging.specifiers import InvalidSpecifier, SpecifierSet

    import qc

    try:
        return SpecifierSet(wanted[1]).contains(qc.__version__, prereleases=True)
    except InvalidSpecifier:
        return False
