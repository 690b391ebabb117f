"""Read lists of checksums delivered with the audio: `x.wav.sha256`, `x.md5`, SHA256SUMS, as common tools write them."""

from __future__ import annotations

import functools
import os
import posixpath
import re
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from qc.files.bounded_read import UnreadableFileError, read_bytes
from qc.text.sanitize import shown

Algorithm = Literal["sha256", "md5"]
DIGITS: dict[Algorithm, int] = {"sha256": 64, "md5": 32}
NAMES: dict[Algorithm, str] = {"sha256": "SHA-256", "md5": "MD5"}
IN_FOLDER: dict[str, Algorithm] = {
    "SHA256SUMS": "sha256", "checksums.sha256": "sha256", "MD5SUMS": "md5", "checksums.md5": "md5",
}  # fmt: skip
"""Lists for the whole folder of a delivery."""
LARGEST = 1 << 20
"""bytes; ten thousand lines are no list of a record's files"""
LONGEST_LINE = 5_000
"""Characters of a line: a path has at most 4,096, a digest 64 (practice)."""

_PLAIN = re.compile(r"(?P<escaped>\\?)(?P<digest>[0-9A-Fa-f]+)(?:[ \t]+\*?(?P<name>\S.*))?\Z")
_BSD = re.compile(r"(?P<escaped>\\?)(?P<algorithm>[A-Za-z0-9-]+) ?\((?P<name>.+)\) ?= ?(?P<digest>[0-9A-Fa-f]+)\Z")
_TAGS: dict[str, Algorithm] = {"sha256": "sha256", "sha-256": "sha256", "sha2-256": "sha256", "md5": "md5"}
_MARKS = ((b"\xef\xbb\xbf", "utf-8-sig"), (b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16"))


@dataclass(frozen=True, slots=True)
class Stated:
    """One digest of an audio file, in small hex digits, and the line of the side file that states it."""

    algorithm: Algorithm
    digest: str
    file: str
    line: int

    @property
    def by(self) -> str:
        """File and line of the digest, for messages."""
        return f"{shown(self.file)} line {self.line}"


@dataclass(frozen=True, slots=True)
class Unusable:
    """A fault of a checksum file: it does not mention its audio file, or has an unreadable line."""

    file: str
    message: str


@dataclass(frozen=True, slots=True)
class _ChecksumLine:
    number: int
    algorithm: Algorithm
    digest: str
    name: str | None


def places(folder: Path, name: str) -> tuple[Path, ...]:
    """List the side files there are for an audio file that the delivery writes as `name`; nothing is opened."""
    return tuple(folder / place for place, _ in _candidates(name) if os.path.lexists(folder / place))


def stated(folder: Path, name: str) -> tuple[tuple[Stated, ...], tuple[Unusable, ...]]:
    """Read every digest that side files give for an audio file, `name` as in the delivery.

    Never raises for the contents of a checksum file; its faults are in the second value.
    """
    found: list[Stated] = []
    odd: list[Unusable] = []
    for place, algorithm in _candidates(name):
        if not os.path.lexists(folder / place):
            continue
        listed = _listed(folder, place, algorithm)
        if isinstance(listed, Unusable):
            odd.append(listed)
            continue
        odd += [Unusable(place, f"{shown(place)} {why}") for why in listed.malformed]
        mine = listed.about(place, name)
        found += [Stated(line.algorithm, line.digest, place, line.number) for line in mine]
        if not mine and not listed.malformed and posixpath.splitext(place)[0] == name:
            odd.append(Unusable(place, f"{shown(place)} gives no digest of {shown(name)}"))
    return tuple(found), tuple(odd)


def _candidates(name: str) -> Iterator[tuple[str, Algorithm]]:
    """Yield the paths at which digests of an audio file may be, each once."""
    stem = posixpath.splitext(name)[0]
    places: dict[str, Algorithm] = {}
    for algorithm in DIGITS:
        places[f"{name}.{algorithm}"] = places[f"{stem}.{algorithm}"] = algorithm
    yield from (places | IN_FOLDER).items()


@dataclass(frozen=True, slots=True)
class _List:
    """A list of digests taken apart, its lines by the name that each is about."""

    by_path: dict[str | None, list[_ChecksumLine]]
    by_name: dict[str | None, list[_ChecksumLine]]
    """by the last part of the path; None for lines without a name"""
    malformed: list[str]

    def about(self, place: str, name: str) -> list[_ChecksumLine]:
        """Return the lines about an audio file, in order; a line without a name is about the file it belongs to.

        In a checksum file of one audio file the folder is ignored, since it may be that of an earlier place.
        """
        if place in IN_FOLDER:
            return self.by_path.get(_plain(name), [])
        mine = [*self.by_name.get(posixpath.basename(_plain(name)), []), *self.by_name.get(None, [])]
        return sorted(mine, key=lambda line: line.number)


def _listed(folder: Path, place: str, algorithm: Algorithm) -> _List | Unusable:
    """Read a list of digests; one that covers a thousand files is taken apart once and not a thousand times."""
    text = _text(folder, place)
    return text if isinstance(text, Unusable) else _taken_apart(text, algorithm)


@functools.lru_cache(maxsize=4)
def _taken_apart(text: str, algorithm: Algorithm) -> _List:
    lines, malformed = _lines(text, algorithm)
    found = _List({}, {}, malformed)
    for line in lines:
        path = None if line.name is None else _plain(line.name)
        found.by_path.setdefault(path, []).append(line)
        found.by_name.setdefault(None if path is None else posixpath.basename(path), []).append(line)
    return found


def _text(folder: Path, place: str) -> str | Unusable:
    """Read a side file, a plain one inside the folder and of bounded size."""
    home, real = Path(os.path.realpath(folder)), Path(os.path.realpath(folder / place))
    named = shown(place)
    if not real.is_relative_to(home):
        return Unusable(place, f"{named} leads through a link out of the delivery's folder and was not read")
    try:
        content = read_bytes(real, LARGEST)
    except UnreadableFileError as fault:
        skipped = "" if fault.fault in {"missing", "unreadable"} else " and was not read"
        return Unusable(place, f"{named} {fault}{skipped}")
    coding = next((coding for mark, coding in _MARKS if content.startswith(mark)), "utf-8")
    try:
        return content.decode(coding)
    except UnicodeDecodeError:
        return content.decode("latin-1")


def _lines(text: str, algorithm: Algorithm) -> tuple[list[_ChecksumLine], list[str]]:
    """Take a list apart; the second part says what cannot be read, in one sentence that follows the file's name."""
    lines: list[_ChecksumLine] = []
    bad: list[tuple[int, str]] = []
    for number, raw in enumerate(re.split(r"\r\n|\r|\n", text), start=1):
        written = raw.strip()
        if not written or written[0] in "#;":
            continue
        line = _line(number, written, algorithm)
        if isinstance(line, str):
            bad.append((number, line))
        else:
            lines.append(line)
    if not lines and not bad:
        return lines, ["is empty"]
    more = f" (and {len(bad) - 1} more)" if len(bad) > 1 else ""
    return lines, [f"line {number}: {why}{more}" for number, why in bad[:1]]


def _line(number: int, written: str, algorithm: Algorithm) -> _ChecksumLine | str:
    """Read one line, or say why it cannot be read."""
    if len(written) > LONGEST_LINE:
        return f"the line is {len(written)} characters long; at most {LONGEST_LINE} are read"
    match = _BSD.match(written) or _PLAIN.match(written)
    if match is None:
        return f'"{shown(written)}" is no line of a list of checksums'
    parts = match.groupdict()
    if tag := parts.get("algorithm"):
        if (named := _TAGS.get(tag.lower())) is None:
            return f"{shown(tag)} is not compared, only SHA-256 and MD5 are"
        algorithm = named
    digest, name = parts["digest"], parts["name"]
    if len(digest) != DIGITS[algorithm]:
        return f"it has {len(digest)} hex digits, {NAMES[algorithm]} has {DIGITS[algorithm]}"
    if parts["escaped"] and name:
        name = re.sub(r"\\(.)", lambda found: {"n": "\n", "r": "\r"}.get(found[1], found[1]), name)
    return _ChecksumLine(number, algorithm, digest.lower(), name)


def _plain(name: str) -> str:
    """Return the normal form of a path: "/" between folders, no "./", composed letters."""
    return posixpath.normpath(unicodedata.normalize("NFC", name.replace("\\", "/")))
