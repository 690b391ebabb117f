"""Foreign text in Markdown, escaped."""

from __future__ import annotations

import re


def plain(text: str) -> str:
    """Escape Markdown and HTML in a text; a "_" inside a word needs no escape."""
    escaped = re.sub(r"([\\`*\[\]<>#|~&$])", r"\\\1", text)
    return re.sub(r"(?<![A-Za-z0-9])_|_(?![A-Za-z0-9])", r"\\_", escaped)
