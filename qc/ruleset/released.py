"""The identity of a ruleset for years to come: the digest that reports name, and the digests of released files."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from pathlib import Path

from qc.files.bounded_read import UnreadableFileError, read_text
from qc.model.errors import RulesetError
from qc.text.sanitize import shown

FILE = "digests.json"
"""In the folder of the rulesets: "NAME@VERSION" -> SHA-256 of the file as it was released."""
LARGEST = 1 << 20
"""Bytes of that file, of ten thousand releases."""


def digest(own: str, parent: str | None) -> str:
    """Return the digest of a ruleset by that of its file: its own, or one over it and the digest of what it extends.

    The second is the SHA-256 of two lines, both in hex, so that a change in any file that has a part in it shows.
    """
    return own if parent is None else hashlib.sha256(f"{own}\n{parent}\n".encode()).hexdigest()


def is_as_released(path: Path, sha256: str) -> None:
    """Refuse a released file that was edited; raises RulesetError with one sentence.

    A version is released once digests.json names it; a folder without that file releases nothing.
    """
    sentence = edited(path, sha256)
    if sentence is not None:
        raise RulesetError(sentence)


def is_released(path: Path, sha256: str) -> bool:
    """Whether a file is a released one, as it was released: what was looked up in it then needs no looking up again."""
    return _digests(path.parent.parent / FILE).get(_named(path)) == sha256


def edited(path: Path, sha256: str) -> str | None:
    """Return a sentence where a file is not what was released; None when it is, or was never released."""
    name = _named(path)
    released = _digests(path.parent.parent / FILE).get(name, sha256)
    if released == sha256:
        return None
    return (
        f"{shown(str(path), 500)}: this is not {name} as it was released, by the digest in {FILE}; a report that names "
        "it would not be true, so put the released file back, and give what you changed a version of its own"
    )


def _named(path: Path) -> str:
    return f"{path.parent.name}@{path.stem}"


def _digests(path: Path) -> Mapping[str, str]:
    try:
        digests = json.loads(read_text(path, LARGEST))
    except UnreadableFileError as fault:
        if fault.fault == "missing":
            return {}
        raise RulesetError(_unreadable(path, str(fault))) from None
    except ValueError as error:
        raise RulesetError(_unreadable(path, " ".join(str(error).split()))) from None
    if not isinstance(digests, dict) or not all(isinstance(digest, str) for digest in digests.values()):
        raise RulesetError(_unreadable(path, 'it must hold "NAME@VERSION": "SHA-256"'))
    return digests


def _unreadable(path: Path, why: str) -> str:
    return f"{shown(str(path), 500)}: the digests of released rulesets cannot be read ({why}); put the file back"
