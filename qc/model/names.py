"""The patterns of names that people write: one for each kind of name, for whole texts (`fullmatch`); keys of limits."""

from __future__ import annotations

import re

CHECK_ID = re.compile(r"[a-z][a-z0-9]*(-[a-z0-9]+)*\.[a-z0-9]+(-[a-z0-9]+)*")
"""The id of a check: area.plain-words, as "groove.cut-too-deep"."""
RULESET_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]*")
SIDE_ID = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,15}")
FORMAT_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]*")
"""The name of a report format: the part before the "=" of `--out FORMAT=PATH`."""
PLUGIN_NAME = re.compile(r"[a-z][a-z0-9]*(-[a-z0-9]+)*")
"""The name of a package of house rules that `sidegate new-plugin` writes."""


def limit_key(name: str) -> str:
    """Return the limit key of a key of a check's `judges`: "peak" and "peak.vertical" both belong to "peak"."""
    return name.partition(".")[0]
