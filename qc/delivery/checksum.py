"""The digests of a file's bytes, as a delivery or a list beside it states them."""

from __future__ import annotations

import hashlib
from pathlib import Path

_AT_ONCE = 1 << 20


def sha256_of(path: Path) -> str:
    """Give the SHA-256 of a file as 64 small hex digits, in bounded memory; raises OSError."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def digests_of(path: Path, *, md5: bool = False) -> dict[str, str]:
    """Give the "sha256" of a file, and its "md5" when asked for, from one read; raises OSError."""
    if not md5:
        return {"sha256": sha256_of(path)}
    digests = {"sha256": hashlib.sha256(), "md5": hashlib.md5(usedforsecurity=False)}
    held = memoryview(bytearray(_AT_ONCE))
    with path.open("rb", buffering=0) as file:
        while count := file.readinto(held):
            for digest in digests.values():
                digest.update(held[:count])
    return {name: digest.hexdigest() for name, digest in digests.items()}
