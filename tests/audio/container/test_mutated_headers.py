"""Headers changed field by field: what reaches measuring is what was sent, or the report says that something is wrong.

A file is written by libsndfile or by hand, one or two fields of its header are changed, and it is examined and decoded
as in a run. Where the samples, the rate or the number of channels differ from the original's, there must be a fault.

Not counted, since nothing in the file states it twice:
* the sample rate of AIFF (in FLAC every frame states it, in WAV the byte rate does);
* the byte order and the coding of samples in AIFC.
"""

from __future__ import annotations

import contextlib
import os
import random
import struct
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
import soundfile

from qc.audio.container.file_hash import FileHash
from qc.audio.container.sample_md5 import SampleMd5
from qc.audio.source import AudioFaultError, FileSource
from qc.intake.inspection import Declared, inspect

RATE, FRAMES = 48_000, 2_000
MUTATIONS = int(os.environ.get("SIDEGATE_MUTATIONS", "120"))
"""of every kind of file; more by hand"""
KINDS = [
    ("WAV", "PCM_16", 2), ("WAV", "PCM_24", 2), ("WAV", "PCM_24", 1), ("WAV", "FLOAT", 2), ("WAV", "PCM_32", 2),
    ("WAVEX", "PCM_24", 2), ("WAVEX", "FLOAT", 1), ("RF64", "PCM_16", 2), ("RF64", "PCM_24", 2),
    ("AIFF", "PCM_16", 2), ("AIFF", "PCM_24", 1), ("AIFF", "FLOAT", 2), ("FLAC", "PCM_16", 2), ("FLAC", "PCM_24", 1),
    ("FLAC without MD5", "PCM_24", 2),
]  # fmt: skip
BEHIND = b"LIST\x0c\0\0\0INFOICMT\0\0\0\0"
"""A chunk that stands behind the audio of every second RIFF file."""


@dataclass(frozen=True)
class Field:
    """Bytes of a header that state one thing."""

    name: str
    start: int
    size: int
    order: str = "little"


def sent(path: Path, kind: str, coding: str, channels: int) -> bytes:
    noise = np.random.default_rng(11).uniform(-0.5, 0.5, (FRAMES, channels))
    soundfile.write(path, noise, RATE, format=kind.partition(" ")[0], subtype=coding)
    octets = path.read_bytes()
    if kind in {"WAV", "WAVEX"} and channels == 2:
        octets = octets[:4] + struct.pack("<I", len(octets) - 8 + len(BEHIND)) + octets[8:] + BEHIND
    if kind == "FLAC without MD5":
        octets = octets[:26] + bytes(16) + octets[42:]
    path.write_bytes(octets)
    return octets


def fields(octets: bytes) -> list[Field]:
    """Name the fields of a header."""
    if octets[:4] == b"fLaC":
        return [*_flac_fields(octets)]
    order, found = ("big" if octets[:4] == b"FORM" else "little"), [Field("form", 0, 4), Field("kind", 8, 4)]
    found.append(Field("form size", 4, 4, order))
    at = 12
    while at + 8 <= len(octets):
        name, size = octets[at : at + 4].decode("latin1").strip(), int.from_bytes(octets[at + 4 : at + 8], order)
        found += [Field(f"{name} name", at, 4), Field(f"{name} size", at + 4, 4, order)]
        found += [
            Field(f"{name}.{part}", at + 8 + start, length, order)
            for part, start, length in PARTS.get(name, ())
            if start + length <= size
        ]
        if size == 0xFFFFFFFF:  # of an RF64 file, that ends with its data
            break
        at += 8 + size + size % 2
    return [one for one in found if one.start + one.size <= len(octets)]


PARTS = {
    "fmt": [("tag", 0, 2), ("channels", 2, 2), ("rate", 4, 4), ("byte rate", 8, 4), ("block", 12, 2), ("bits", 14, 2),
            ("extra", 16, 2), ("valid bits", 18, 2), ("mask", 20, 4), ("coding", 24, 2)],
    "fact": [("frames", 0, 4)],
    "ds64": [("riff", 0, 8), ("data", 8, 8), ("frames", 16, 8), ("rows", 24, 4)],
    "COMM": [("channels", 0, 2), ("frames", 2, 4), ("bits", 6, 2), ("rate", 8, 10), ("coding", 18, 4)],
    "SSND": [("offset", 0, 4), ("block", 4, 4)],
}  # fmt: skip


def _flac_fields(octets: bytes):
    yield Field("marker", 0, 4)
    yield from (Field(name, 8 + start, size, "big") for name, start, size in [
        ("least block", 0, 2), ("greatest block", 2, 2), ("least frame", 4, 3), ("greatest frame", 7, 3),
        ("rate, channels, bits", 10, 3), ("bits and frames", 13, 1), ("frames", 14, 4), ("md5", 18, 16),
    ])  # fmt: skip
    at = 4
    while True:
        yield from (Field("block kind", at, 1), Field("block size", at + 1, 3, "big"))
        last, at = octets[at] & 0x80, at + 4 + int.from_bytes(octets[at + 1 : at + 4], "big")
        if last:
            return


def mutated(octets: bytes, field: Field, chance: random.Random) -> bytes:
    """Change a field: a bit, a value near by, or one that breaks programs."""
    value, most = int.from_bytes(octets[field.start : field.start + field.size], field.order), 256**field.size - 1
    new = chance.choice([
        value ^ 1 << chance.randrange(8 * field.size), value ^ 1 << chance.randrange(8 * field.size), value + 1,
        value - 1, value + 4, value - 6, value // 2, value * 2, value // 3, value * 3 // 4, value + 65_536, 0, 1, 2, 8,
        16, 20, 24, 32, most, most >> 1, (most >> 1) + 1, chance.randrange(most + 1),
    ])  # fmt: skip
    put = (new & most).to_bytes(field.size, field.order)
    return octets[: field.start] + put + octets[field.start + field.size :]


def heard(path: Path) -> tuple[bool, object]:
    """Examine and decode a file: whether a fault shows, and rate, channels and samples as they reach measuring."""
    examined = inspect(Declared(path, path.name))
    facts, fatal = examined.received.facts, examined.received.fatal
    if fatal is not None or facts.frames is None:
        return True, None
    samples = None if examined.sample_bits is None else SampleMd5(examined.sample_bits)
    taken = FileHash(path, samples=samples)
    source = FileSource(path, "side:A", facts.sample_rate, facts.frames, mono=facts.channels == 1, hashed=taken)
    blocks = []
    with contextlib.closing(source):
        try:
            source.open()
            for _ in range(source.blocks):
                blocks += source.read()
                source.hash()
        except AudioFaultError:
            return True, None
    received = examined.digested(taken.digests)
    return bool(received.faults), (facts.sample_rate, facts.channels, np.concatenate(blocks, axis=1).tobytes())


def not_stated_twice(kind: str, names: set[str]) -> bool:
    return kind == "AIFF" and bool(names & {"COMM.rate", "COMM.coding", "kind"})


@pytest.mark.parametrize(("kind", "coding", "channels"), KINDS)
def test_no_changed_header_changes_the_programme_without_a_word(tmp_path, kind, coding, channels):
    chance, path, counts = random.Random(f"{kind} {coding} {channels}"), tmp_path / "a", Counter()
    octets = sent(path, kind, coding, channels)
    said, original = heard(path)
    assert not said, "the file as it was written has no fault"
    known, silent = fields(octets), []
    for number in range(MUTATIONS):
        chosen = [known[number % len(known)], *chance.sample(known, chance.choice([0, 0, 0, 1]))]
        changed = octets
        for field in chosen:
            changed = mutated(changed, field, chance)
        if changed == octets:
            continue
        path.write_bytes(changed)
        said, got = heard(path)
        names = {field.name for field in chosen}
        differs = got is not None and got != original
        counts["said" if said else "differs" if differs else "harmless"] += 1
        if differs and not said and not not_stated_twice(kind, names):
            silent.append((sorted(names), [changed[field.start : field.start + field.size].hex() for field in chosen]))
    if "SIDEGATE_MUTATIONS" in os.environ:
        print(kind, coding, channels, dict(counts))
    assert silent == []
    assert counts["said"] > MUTATIONS // 4
