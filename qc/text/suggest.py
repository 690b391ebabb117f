"""Suggest the nearest valid name in sentences about an invalid one."""

from __future__ import annotations

import difflib
from collections.abc import Iterable

LONGEST = 200
"""Most characters of a name that are compared; valid names have fewer."""


def nearest(name: str, valid: Iterable[str]) -> str | None:
    """Return the valid name most similar to `name`, or None where none is similar."""
    folded = {word.casefold().replace("_", "-"): word for word in valid}
    found = difflib.get_close_matches(name[:LONGEST].casefold().replace("_", "-"), folded, n=1, cutoff=0.6)
    return folded[found[0]] if found else None


def meant(name: str, valid: Iterable[str], *, longest: int = 12) -> str:
    """Return the end of a sentence about an invalid name: the nearest valid one, else a list of at most `longest`."""
    names = sorted(set(valid))
    near = nearest(name, names)
    if near is not None:
        return f'did you mean "{near}"?'
    if not names:
        return "none is known"
    more = f" and {len(names) - longest} more" if len(names) > longest else ""
    return f"known are {', '.join(names[:longest])}{more}"
