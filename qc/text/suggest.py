"""What somebody may have meant: the nearest known name, for the sentences that refuse an unknown one."""

from __future__ import annotations

import difflib
from collections.abc import Iterable

LONGEST = 200
"""Characters of a name that are compared; the names there are have fewer."""


def nearest(name: str, known: Iterable[str]) -> str | None:
    """Give the known name that is most like `name`; None when none is like it."""
    folded = {word.casefold().replace("_", "-"): word for word in known}
    found = difflib.get_close_matches(name[:LONGEST].casefold().replace("_", "-"), folded, n=1, cutoff=0.6)
    return folded[found[0]] if found else None


def meant(name: str, known: Iterable[str], *, longest: int = 12) -> str:
    """End a sentence about an unknown name: the nearest one, else those that are known."""
    names = sorted(set(known))
    near = nearest(name, names)
    if near is not None:
        return f'did you mean "{near}"?'
    if not names:
        return "none is known"
    more = f" and {len(names) - longest} more" if len(names) > longest else ""
    return f"known are {', '.join(names[:longest])}{more}"
