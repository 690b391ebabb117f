"""The digests of a file's bytes, as a delivery or a list beside it states them."""

from __future__ import annotations

import hashlib
from pathlib import Path

AT_ONCE = 1 << 20
"""Bytes a read."""
SAMPLES_MD5 = "samples md5"
"""Name of the digest of the decoded samples, where a file states one; not taken by those who read bytes only."""


class Digests:
    """The "sha256" of bytes that come one after the other, and their "md5" when asked for."""

    def __init__(self, *, md5: bool = False) -> None:
        self._digests = {"sha256": hashlib.sha256()}
        if md5:
            self._digests["md5"] = hashlib.md5(usedforsecurity=False)

    def take(self, octets: memoryview) -> None:
        """Take the next bytes; other threads run meanwhile."""
        for digest in self._digests.values():
            digest.update(octets)

    def hexadecimal(self) -> dict[str, str]:
        """Give the digests of all bytes taken, in small hex digits."""
        return {name: digest.hexdigest() for name, digest in self._digests.items()}


def sha256_of(path: Path) -> str:
    """Give the SHA-256 of a file as 64 small hex digits, in bounded memory; raises OSError."""
    return digests_of(path)["sha256"]


def digests_of(path: Path, *, md5: bool = False) -> dict[str, str]:
    """Give the "sha256" of a file, and its "md5" when asked for, from one read; raises OSError."""
    digests = Digests(md5=md5)
    held = memoryview(bytearray(AT_ONCE))
    with path.open("rb", buffering=0) as file:
        while count := file.readinto(held):
            digests.take(held[:count])
    return digests.hexadecimal()
