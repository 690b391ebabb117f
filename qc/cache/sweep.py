"""What lies in the store as a whole: how much it is, what has to go to keep to its limit, and clearing it.

Only files that the store itself writes are counted or deleted, by their names and places; a link is never followed.
"""

from __future__ import annotations

import contextlib
import os
import re
import stat
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from qc.cache import entry

LIMIT = 4 * 2**30
"""Bytes that the store may take."""
DAY = 86_400.0
UNUSED = 30 * DAY
"""s after which an entry that no run used is deleted."""
LEFT = DAY
"""s after which a file that was never finished is deleted."""
SUFFIX = ".kept"
FILES = "files"
"""Subfolder of the digests of files."""
_SOUND = re.compile(r"[0-9a-f]{32}")
_DIGESTS = re.compile(rf"\d+-[0-9a-f]{{32}}{re.escape(SUFFIX)}")
_RESULT = re.compile(rf"[a-z0-9._-]{{1,60}}-[0-9a-f]{{32}}{re.escape(SUFFIX)}")
_UNFINISHED = re.compile(rf"{re.escape(entry.BESIDE)}[0-9a-f]{{32}}")


@dataclass(frozen=True, slots=True)
class Contents:
    """How many entries there are, and how many bytes they take."""

    entries: int = 0
    size: int = 0
    kept: int = 0
    """entries that could not be deleted"""


@dataclass(frozen=True, slots=True)
class _Own:
    """A file of the store: its size in bytes, and when it was last used, s since the epoch."""

    path: Path
    size: int
    used: float
    finished: bool


def is_folder(path: Path) -> bool:
    """Whether a path is a folder itself, and no link to one."""
    try:
        return stat.S_ISDIR(path.lstat().st_mode)
    except OSError:
        return False


def contents(folder: Path) -> Contents:
    """Count the finished entries of a store and their bytes."""
    sizes = [own.size for own in _own(folder) if own.finished]
    return Contents(len(sizes), sum(sizes))


def clear(folder: Path) -> Contents:
    """Delete every entry of a store and return what went; what is not the store's own stays.

    So does what another process is writing just now.
    """
    now = time.time()
    return _delete([own for own in _own(folder) if own.finished or now - own.used > LEFT])


def sweep(folder: Path, limit: int = LIMIT) -> Contents:
    """Delete what no run used for long and what was never finished, then the least recently used beyond `limit`, bytes.

    Another process may read, write or sweep the same store meanwhile: what is gone already is no error.
    """
    now, old, kept = time.time(), list[_Own](), list[_Own]()
    for own in _own(folder):
        (old if now - own.used > (UNUSED if own.finished else LEFT) else kept).append(own)
    left = sum(own.size for own in kept)
    for own in sorted((own for own in kept if own.finished), key=lambda own: own.used):
        if left <= limit:
            break
        old.append(own)
        left -= own.size
    return _delete(old)


def _delete(found: list[_Own]) -> Contents:
    """Delete files, then the subfolders that are empty by that."""
    count = size = kept = 0
    for own in found:
        try:
            own.path.unlink()
        except FileNotFoundError:  # another process deleted it
            continue
        except OSError:
            kept += own.finished
            continue
        count, size = count + own.finished, size + own.size * own.finished
    for inside in {own.path.parent for own in found}:
        with contextlib.suppress(OSError):  # not empty
            inside.rmdir()
    return Contents(count, size, kept)


def _own(folder: Path) -> Iterator[_Own]:
    """Find the files of a store; nothing where the folder, or a subfolder, is a link."""
    if not is_folder(folder):
        return
    with contextlib.suppress(OSError):
        for inside in list(os.scandir(folder)):
            result = _DIGESTS if inside.name == FILES else _RESULT
            if (inside.name == FILES or _SOUND.fullmatch(inside.name)) and inside.is_dir(follow_symlinks=False):
                yield from _files(inside.path, result)


def _files(folder: str, result: re.Pattern[str]) -> Iterator[_Own]:
    with contextlib.suppress(OSError):  # it went meanwhile
        for one in list(os.scandir(folder)):
            finished = result.fullmatch(one.name) is not None
            if not finished and not _UNFINISHED.fullmatch(one.name):
                continue
            with contextlib.suppress(OSError):
                there = one.stat(follow_symlinks=False)
                if not stat.S_ISDIR(there.st_mode):
                    yield _Own(Path(one.path), there.st_size, there.st_mtime, finished)
