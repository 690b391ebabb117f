"""What was sent: the delivery file, the headers of its audio files, their checksums. No samples in here.

`read_delivery(path)` gives the delivery with its lines; `read_header(path)` says what an audio file claims to
hold; `sha256_of(path)` is the digest of its bytes. Names are handed on lazily, so that importing this package
costs nothing.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from qc.audio.container.digests import sha256_of
    from qc.audio.container.headers import Header, read_header
    from qc.delivery.model import Delivery, Side, Track
    from qc.delivery.reader import ReadDelivery, parse_delivery, read_delivery

__all__ = [
    "Delivery", "Header", "ReadDelivery", "Side", "Track",
    "parse_delivery", "read_delivery", "read_header", "sha256_of",
]  # fmt: skip

_HOMES = {
    "sha256_of": "checksum",
    "Header": "headers",
    "read_header": "headers",
    "Delivery": "model",
    "Side": "model",
    "Track": "model",
    "ReadDelivery": "reader",
    "parse_delivery": "reader",
    "read_delivery": "reader",
}


def __getattr__(name: str) -> Any:
    """Hand on a name from its module, when first asked for."""
    if name in _HOMES:
        return getattr(importlib.import_module(f"{__name__}.{_HOMES[name]}"), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
