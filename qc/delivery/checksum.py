"""The digest of a file's bytes, as a delivery states it."""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path


def sha256_of(path: Path) -> str:
    """Give the SHA-256 of a file as 64 small hex digits, in bounded memory; raises OSError."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
