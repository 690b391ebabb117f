"""Parse `--level VALUE`: release, recommended, clean, or a level in dB."""

from __future__ import annotations

from collections.abc import Mapping

from qc.groove.level.release import LevelOption
from qc.groove.level.search import HIGHEST, LOWEST
from qc.model.errors import UsageError
from qc.model.quantity import parse
from qc.text.sanitize import shown
from qc.text.suggest import nearest

NAMES: Mapping[str, LevelOption] = {"release": "release", "recommended": "recommended", "clean": "clean"}
LOWEST_DB, HIGHEST_DB = LOWEST / 10.0, HIGHEST / 10.0
"""Ends of the level search; a level beyond them is taken for a typing error."""
LONGEST = 40
"""Most characters of a level."""


def read_level(value: str | float | None) -> LevelOption | None:
    """Parse "release", "recommended", "clean", "-6 dB", "-6dB", "-6" or a number in dB; None stays None.

    Raises UsageError, one sentence, for anything else, and for a level outside -40 to +20 dB.
    """
    if value is None:
        return None
    text = str(value).strip()
    if text in NAMES:
        return NAMES[text]
    try:
        level, unit = parse(text) if len(text) <= LONGEST else (0.0, "")
    except ValueError:
        level, unit = 0.0, ""
    if unit not in {"dB", "1"}:
        near = nearest(text[:LONGEST], NAMES)
        hint = f' (did you mean "{near}"?)' if near else ""
        raise UsageError(
            f'--level: "{shown(text, LONGEST)}" is no level{hint}; write release, recommended, clean, or a level '
            'such as "-6 dB"'
        )
    if not LOWEST_DB <= level <= HIGHEST_DB:
        raise UsageError(
            f'--level: "{shown(text, LONGEST)}" is out of reach; a level lies between {LOWEST_DB:g} dB and '
            f"{HIGHEST_DB:+g} dB"
        )
    return level


def level_words(option: LevelOption) -> str:
    """Format an option as reports do: "release", or "-6 dB"."""
    if isinstance(option, str):
        return option
    return f"{option:+g} dB" if option else "0 dB"
