"""The digests of a file's bytes, in the notation of deliveries and checksum lists."""

from __future__ import annotations

import hashlib
from pathlib import Path

AT_ONCE = 1 << 20
"""Bytes a read."""
SAMPLES_MD5 = "samples md5"
"""Name of the digest of the decoded samples, where a file states one; it needs decoding, not only reading."""


class Digests:
    """The "sha256" of consecutive bytes, and optionally their "md5"."""

    def __init__(self, *, md5: bool = False) -> None:
        self._digests = {"sha256": hashlib.sha256()}
        if md5:
            self._digests["md5"] = hashlib.md5(usedforsecurity=False)

    def take(self, octets: memoryview) -> None:
        """Take the next bytes; other threads run meanwhile."""
        for digest in self._digests.values():
            digest.update(octets)

    def hexadecimal(self) -> dict[str, str]:
        """Return the digests of all bytes taken, in lower-case hex digits."""
        return {name: digest.hexdigest() for name, digest in self._digests.items()}


def sha256_of(path: Path) -> str:
    """Return the SHA-256 of a file as 64 lower-case hex digits, in bounded memory; raises OSError."""
    return digests_of(path)["sha256"]


def digests_of(path: Path, *, md5: bool = False) -> dict[str, str]:
    """Return the "sha256" of a file, and optionally its "md5", from one read; raises OSError."""
    digests = Digests(md5=md5)
    buffer = memoryview(bytearray(AT_ONCE))
    with path.open("rb", buffering=0) as file:
        while count := file.readinto(buffer):
            digests.take(buffer[:count])
    return digests.hexadecimal()
