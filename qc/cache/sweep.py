"""Size of the store as a whole: entries counted, deleted to keep to its limit, or all cleared.

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

from qc.files.atomic_write import UNFINISHED

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
_UNFINISHED = re.compile(rf"{re.escape(UNFINISHED)}[a-z0-9_]{{8,32}}")


@dataclass(frozen=True, slots=True)
class Contents:
    """Number of entries, and the bytes that they take."""

    entries: int = 0
    size: int = 0
    kept: int = 0
    """entries that could not be deleted"""


@dataclass(frozen=True, slots=True)
class _StoreFile:
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
    sizes = [file.size for file in _files(folder) if file.finished]
    return Contents(len(sizes), sum(sizes))


def clear(folder: Path) -> Contents:
    """Delete every entry of a store, but not what another process is writing just now, and return what went."""
    return _delete([file for file in _files(folder) if file.finished or time.time() - file.used > LEFT])


def sweep(folder: Path, limit: int = LIMIT) -> Contents:
    """Delete what no run used for long and what was never finished, then the least recently used beyond `limit`, bytes.

    Another process may read, write or sweep the same store meanwhile: what is gone already is no error.
    """
    now, files = time.time(), list(_files(folder))
    old = [file for file in files if now - file.used > (UNUSED if file.finished else LEFT)]
    left = sum(file.size for file in files) - sum(file.size for file in old)
    gone = set(old)
    for file in sorted((file for file in files if file.finished and file not in gone), key=lambda file: file.used):
        if left <= limit:
            break
        old.append(file)
        left -= file.size
    return _delete(old)


def _delete(files: list[_StoreFile]) -> Contents:
    """Delete files, then the subfolders that are empty by that."""
    count = size = kept = 0
    for file in files:
        try:
            file.path.unlink()
        except FileNotFoundError:  # another process deleted it
            continue
        except OSError:
            kept += file.finished
            continue
        count, size = count + file.finished, size + file.size * file.finished
    for subfolder in {file.path.parent for file in files}:
        with contextlib.suppress(OSError):  # not empty
            subfolder.rmdir()
    return Contents(count, size, kept)


def _files(folder: Path) -> Iterator[_StoreFile]:
    """Find the files of a store; none where the folder, or a subfolder, is a link."""
    for subfolder in _scanned(folder) if is_folder(folder) else ():
        name = _DIGESTS if subfolder.name == FILES else _RESULT
        if not (subfolder.name == FILES or _SOUND.fullmatch(subfolder.name)):
            continue
        for file in _scanned(subfolder.path) if subfolder.is_dir(follow_symlinks=False) else ():
            finished = name.fullmatch(file.name) is not None
            with contextlib.suppress(OSError):  # it went meanwhile
                state = file.stat(follow_symlinks=False)
                if not stat.S_ISDIR(state.st_mode) and (finished or _UNFINISHED.fullmatch(file.name)):
                    yield _StoreFile(Path(file.path), state.st_size, state.st_mtime, finished)


def _scanned(folder: Path | str) -> list[os.DirEntry[str]]:
    with contextlib.suppress(OSError):
        return list(os.scandir(folder))
    return []
