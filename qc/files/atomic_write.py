"""Putting files and folders where they were asked for: written beside their place and renamed when they are whole."""

from __future__ import annotations

import contextlib
import errno
import json
import os
import shutil
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import BinaryIO

from qc.model.errors import OutputError
from qc.text.sanitize import shown

OWN = ".sidegate"
"""File in a folder that was written here: the names of all that it holds, so that it may be written again."""
MOST_REMOVALS = 50
"""How often it is tried, one second in all, to remove a folder that is still being filled."""


def put(path: Path, held: bytes, place: str, *, fresh: bool = False) -> None:
    """Write bytes to a file; with `fresh` nothing is written over. Raises OutputError naming `place`."""

    def fill(out: BinaryIO) -> None:
        out.write(held)

    put_file(path, fill, place, fresh=fresh)


def put_file(path: Path, fill: Callable[[BinaryIO], None], place: str, *, fresh: bool = False) -> None:
    """Let `fill` write a file, which takes its place when it is whole; what `fill` raises leaves nothing behind.

    Raises OutputError naming `place` where it cannot be written.
    """
    beside = ""
    try:
        handle, beside = tempfile.mkstemp(dir=path.parent, prefix=f"{OWN}-")
        with os.fdopen(handle, "wb") as out:
            fill(out)
        Path(beside).chmod(permissions(0o666))
        if fresh and os.path.lexists(path):
            raise FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST))
        Path(beside).replace(path)
    except OSError as error:
        raise _unwritten(place, error) from None
    finally:
        with contextlib.suppress(OSError):
            if beside:
                Path(beside).unlink(missing_ok=True)


def put_folder(path: Path, fill: Callable[[Path], None], place: str) -> None:
    """Let `fill` write the files of a folder, which takes its place as a whole; what it raises leaves nothing behind.

    A folder that was written here before is replaced. Raises OutputError naming `place` where it cannot be written.
    """
    made: list[Path] = []
    try:
        beside = Path(tempfile.mkdtemp(dir=path.parent, prefix=f"{OWN}-"))
        made.append(beside)
        fill(beside)
        names = sorted(str(one.relative_to(beside)) for one in beside.rglob("*"))
        (beside / OWN).write_text(json.dumps(names) + "\n", encoding="utf-8")
        beside.chmod(permissions(0o777))
        if foreign := not_ours(path):
            raise OutputError(f"{place} cannot be written: {foreign}")
        if path.is_dir():
            old = Path(tempfile.mkdtemp(dir=path.parent, prefix=f"{OWN}-"))
            made.append(old)
            path.replace(old)
        beside.replace(path)
    except OSError as error:
        raise _unwritten(place, error) from None
    finally:
        _back(path, made)
        for one in made:
            _remove(one)


def _remove(folder: Path) -> None:
    """Remove a folder, also one that a thread which was interrupted goes on filling."""
    for _ in range(MOST_REMOVALS):
        shutil.rmtree(folder, ignore_errors=True)
        if not folder.exists():
            return
        time.sleep(0.02)


def _back(path: Path, made: list[Path]) -> None:
    """Put the older folder back where the new one could not take its place."""
    if len(made) == 2 and not os.path.lexists(path):
        with contextlib.suppress(OSError):
            made[1].replace(path)


def not_ours(path: Path) -> str:
    """Say what a folder holds that was not written here; empty when it may be replaced, or is not there."""
    if not path.is_dir():
        return ""
    there = {str(one.relative_to(path)) for one in path.rglob("*")}
    try:
        own = {OWN, *json.loads((path / OWN).read_text(encoding="utf-8"))} if OWN in there else set()
    except (OSError, ValueError, TypeError):
        own = set()
    foreign = sorted(there - own)
    if not foreign:
        return ""
    more = f" and {len(foreign) - 1} more" if len(foreign) > 1 else ""
    return f"it holds {shown(foreign[0])}{more}, not written by a report before; name an empty folder, or a new one"


def _unwritten(place: str, error: OSError) -> OutputError:
    return OutputError(f"{place} cannot be written: {error.strerror}; name another place")


def permissions(most: int) -> int:
    """Give the rights that whoever runs this wants on what is new, of those that are possible."""
    mask = os.umask(0)
    os.umask(mask)
    return most & ~mask
