"""Find recording codes and catalogue numbers in texts."""

from __future__ import annotations

import re
from collections.abc import Iterator

_ISRC = re.compile(r"(?<![A-Z0-9])([A-Z]{2}-?[A-Z0-9]{3}-?[0-9]{2}-?[0-9]{5})(?![A-Z0-9])", re.IGNORECASE)
_GROUP = re.compile(r"[^\W\d_]+|\d+")


def isrcs(text: str, *, named: bool) -> Iterator[str]:
    """Yield the recording codes of a text without their hyphens; with `named` only those behind the word "ISRC"."""
    if not named or "ISRC" in text.upper():
        for match in _ISRC.finditer(text):
            yield match[1].replace("-", "").upper()


def own_shape(catalogue: str) -> str:
    """Return a pattern of the catalogue number, with any signs and zeros between its groups; empty without a number."""
    groups = _GROUP.findall(catalogue)
    if not _usable(groups):
        return ""
    return r"[\s\-_/.]{0,2}".join(f"0{{0,6}}{group.lstrip('0')}" if group.isdecimal() else group for group in groups)


def of_same_shape(text: str, catalogue: str) -> Iterator[tuple[str, int, int]]:
    """Yield numbers of the same label: the letters of the catalogue number, and as many digits; with their places."""
    groups = _GROUP.findall(catalogue)
    if not _usable(groups):
        return
    shape = r"[\s\-_/.]{0,2}".join(
        rf"[0-9]{{{len(group)}}}" if group.isdecimal() else re.escape(group) for group in groups
    )
    for match in re.finditer(rf"(?<![A-Za-z0-9])({shape})(?![0-9])", text, re.IGNORECASE):
        yield match[1], match.start(), match.end()


def _usable(groups: list[str]) -> bool:
    """Whether groups begin with two letters and have two digits, so that no other word has this shape."""
    return bool(groups) and len(groups[0]) >= 2 and groups[0].isalpha() and any(
        group.isdecimal() and len(group) >= 2 for group in groups
    )  # fmt: skip


def same_number(first: str, second: str) -> bool:
    """Whether two catalogue numbers are the same but for signs, capitals and leading zeros, or one holds the other."""
    short, long = sorted((_plain_groups(first), _plain_groups(second)), key=len)
    return any(long[i : i + len(short)] == short for i in range(len(long) - len(short) + 1))


def _plain_groups(number: str) -> list[str]:
    """Return the groups of letters and of digits in small letters, without leading zeros."""
    return [group.lstrip("0") or "0" if group.isdecimal() else group for group in _GROUP.findall(number.casefold())]


def barcode(text: str) -> bool:
    """Whether a number is that of a bar code, 12 to 14 digits, and no catalogue number."""
    digits = "".join(char for char in text if char.isalnum())
    return digits.isdecimal() and len(digits) in {12, 13, 14}
