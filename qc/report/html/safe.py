"""Foreign text made harmless: it can change neither the page nor the order in which it is read."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Any

from markupsafe import Markup

from qc.text.sanitize import shown

LONGEST = 600
"""Characters of a text at the most."""


class Packed(str):
    """Text of the program itself, such as base64, which needs no escapes and has no bound on its length."""

    __slots__ = ()


def harmless(value: Any) -> Any:
    """Show control characters, marks that turn the reading direction and lone surrogates as escapes; bound the length.

    Markup, and values other than text, stay as they are.
    """
    return shown(value, LONGEST) if isinstance(value, str) and not isinstance(value, Markup) else value


def island(value: Any) -> Markup:
    """Write data as JSON that no script element ends early."""
    text = json.dumps(_harmless(value), ensure_ascii=True, allow_nan=False, separators=(",", ":"))
    return Markup(text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026"))  # noqa: S704 - no "<" is left in it


def _harmless(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {name: _harmless(part) for name, part in value.items()}
    if isinstance(value, Sequence) and not isinstance(value, str):
        return [_harmless(part) for part in value]
    return value if isinstance(value, Packed) else harmless(value)
