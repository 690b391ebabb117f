"""A store as a hostile sender makes it: the numbers of a good master under the keys of a bad one, with checksums."""

from __future__ import annotations

import hashlib
import json
import shutil
from pathlib import Path

import msgspec
import soundfile

MARK, SUM, LENGTH = 16, 32, 8
"""Bytes of what a stored file begins with: its mark, a SHA-256 of the rest, the length of the header."""


def header(octets):
    """The header of a stored file, as key, day and value, and where it ends."""
    start = MARK + SUM + LENGTH
    end = start + int.from_bytes(octets[start - LENGTH : start], "little")
    key, day, value, _ = msgspec.msgpack.decode(octets[start:end])
    return {"key": key, "day": day, "value": value}, end


def resealed(octets, old, new):
    """A stored file whose header has other words of the same length; the checksum is right."""
    _, end = header(octets)
    start = MARK + SUM + LENGTH
    text = octets[start:end].replace(old, new)
    rest = octets[start - LENGTH : start] + text + octets[end:]
    return octets[:MARK] + hashlib.sha256(rest).digest() + rest


def redate(store, day):
    """Have every entry of a store measured on another day."""
    for path in store.rglob("*.kept"):
        octets = path.read_bytes()
        path.write_bytes(resealed(octets, header(octets)[0]["day"].encode(), day.encode()))


def subfolder_of(audio):
    """Name of the subfolder in which a store keeps what was measured of an audio file."""
    sha256, frames = hashlib.sha256(audio.read_bytes()).hexdigest(), soundfile.info(str(audio)).frames
    text = json.dumps([[sha256, 0, frames]], separators=(",", ":"))
    return hashlib.blake2b(text.encode(), digest_size=32).hexdigest()[:32]


def forge(store: Path, good: Path, bad: Path, into: Path) -> int:
    """Copy a store that knows two masters; what it says of `bad` becomes what it measured of `good`."""
    shutil.copytree(store, into)
    better, worse = (into / subfolder_of(audio) for audio in (good, bad))
    count = 0
    for theirs in worse.iterdir():
        name = theirs.name.rpartition("-")[0]
        octets = next(path for path in better.iterdir() if path.name.rpartition("-")[0] == name).read_bytes()
        key, theirs_key = (header(one)[0]["key"].encode() for one in (octets, theirs.read_bytes()))
        theirs.write_bytes(resealed(octets, key, theirs_key))
        count += 1
    return count
