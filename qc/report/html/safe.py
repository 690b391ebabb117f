"""What others wrote, made harmless: seen for what it is, steering neither the page nor the reader's eye."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Any

from markupsafe import Markup

from qc.text.sanitize import shown

LONGEST = 600
"""Characters of one thing; a report is no place for a whole essay."""


class Packed(str):
    """Text of our own making, base64 for one, that needs no care and has no bound."""

    __slots__ = ()


def harmless(value: Any) -> Any:
    """Show control characters, marks that turn the reading direction and lone surrogates as escapes; bound the length.

    What is markup already, or no text, is left as it is.
    """
    return shown(value, LONGEST) if isinstance(value, str) and not isinstance(value, Markup) else value


def island(value: Any) -> Markup:
    """Write data as JSON that no script element ends early."""
    text = json.dumps(_harmless(value), ensure_ascii=True, allow_nan=False, separators=(",", ":"))
    return Markup(text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026"))  # noqa: S704 - no "<" is left in it


def _harmless(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {name: _harmless(one) for name, one in value.items()}
    if isinstance(value, Sequence) and not isinstance(value, str):
        return [_harmless(one) for one in value]
    return value if isinstance(value, Packed) else harmless(value)
