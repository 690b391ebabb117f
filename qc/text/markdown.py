"""Text of others in Markdown: seen as it is, and neither markup nor HTML."""

from __future__ import annotations

import re


def plain(text: str) -> str:
    """Keep what was written by others from being Markdown or HTML; a "_" inside a word is a plain one."""
    escaped = re.sub(r"([\\`*\[\]<>#|~&$])", r"\\\1", text)
    return re.sub(r"(?<![A-Za-z0-9])_|_(?![A-Za-z0-9])", r"\\_", escaped)
