"""Write files and folders whole or not at all: under a temporary name, flushed to the disk, then renamed."""

from __future__ import annotations

import contextlib
import errno
import json
import os
import re
import shutil
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import BinaryIO

from qc.files.bounded_read import UnreadableFileError, read_text
from qc.model.errors import OutputError
from qc.text.sanitize import shown

OWN = ".sidegate"
"""File in a folder that was written here: the names of all that it holds, so that it may be written again."""
LARGEST_MARK = 16 << 20
"""Bytes of that file, of a hundred thousand names."""
UNFINISHED = f"{OWN}-"
"""Prefix of the names of files and folders that are being written."""
MOST_REMOVALS = 50
"""Attempts, one second in all, to remove a folder that another thread is still filling."""
FILE_MODE, FOLDER_MODE = 0o666, 0o777
"""Permissions before the user's umask takes some away."""
STATUS = Path("/proc/self/status")
"""File in which Linux shows the umask; there is no call that reads it without setting it."""
_NO_FSYNC = (errno.EINVAL, errno.ENOSYS, errno.ENOTSUP)
"""Errors of a file system that cannot flush a file."""


def write_file(
    path: Path, content: bytes | Callable[[BinaryIO], object], *, fresh: bool = False, mode: int = FILE_MODE
) -> None:  # fmt: skip
    """Write a file, or have `content` write it; it takes its place when it is whole and on the disk.

    With `fresh` no file is written over. Permissions are `mode` less the umask, or less what an older file in its place
    withholds. Raises OSError, and whatever `content` raises; then an older file stays as it was and nothing else is
    left.
    """
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=UNFINISHED)
    unfinished = Path(name)
    try:
        with os.fdopen(handle, "wb") as out:
            out.write(content) if isinstance(content, bytes) else content(out)
            out.flush()
            _to_disk(handle)
        unfinished.chmod(_older_permissions(path, mode) or permissions(mode))
        if fresh and os.path.lexists(path):
            raise FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST))
        unfinished.replace(path)
    finally:
        with contextlib.suppress(OSError):
            unfinished.unlink(missing_ok=True)


def put_file(
    path: Path, content: bytes | Callable[[BinaryIO], object], place: str, *, fresh: bool = False
) -> None:  # fmt: skip
    """Write a file as `write_file` does; raises OutputError naming `place` where it cannot be written."""
    try:
        write_file(path, content, fresh=fresh)
    except OSError as error:
        raise _unwritten(place, error) from None


@contextlib.contextmanager
def unfinished_folder(parent: Path) -> Iterator[Path]:
    """Make a folder in `parent` to fill, settle and rename; it is deleted with its content unless it is renamed."""
    folder = Path(tempfile.mkdtemp(dir=parent, prefix=UNFINISHED))
    try:
        yield folder
    finally:
        _remove(folder)


def settle(folder: Path) -> None:
    """Flush the files of a folder to the disk, and set the permissions that a new folder has; raises OSError."""
    for path in folder.rglob("*"):
        if path.is_file():
            with path.open("rb") as file:
                _to_disk(file.fileno())
    folder.chmod(permissions(FOLDER_MODE))


def put_folder(path: Path, fill: Callable[[Path], None], place: str) -> None:
    """Have `fill` write the files of a folder, which takes its place as a whole; what it raises leaves nothing behind.

    A folder that was written here before is replaced. Raises OutputError naming `place` where it cannot be written.
    """
    try:
        with unfinished_folder(path.parent) as folder:
            fill(folder)
            names = sorted(str(inner.relative_to(folder)) for inner in folder.rglob("*"))
            (folder / OWN).write_text(json.dumps(names) + "\n", encoding="utf-8")
            settle(folder)
            if foreign := not_ours(path):
                raise OutputError(f"{place} cannot be written: {foreign}")
            _exchange(folder, path)
    except OSError as error:
        raise _unwritten(place, error) from None


def _exchange(folder: Path, path: Path) -> None:
    """Rename a folder; an older one is deleted, and put back where the new one cannot take its place."""
    if not path.is_dir():
        folder.replace(path)
        return
    with unfinished_folder(path.parent) as old:
        try:
            path.replace(old)
            folder.replace(path)
        finally:
            if not os.path.lexists(path):
                with contextlib.suppress(OSError):
                    old.replace(path)


def _remove(folder: Path) -> None:
    """Remove a folder, also one that a thread which was interrupted goes on filling."""
    for _ in range(MOST_REMOVALS):
        shutil.rmtree(folder, ignore_errors=True)
        if not folder.exists():
            return
        time.sleep(0.02)


def not_ours(path: Path) -> str:
    """Return a sentence about files in a folder that were not written here; empty when it may be replaced."""
    if not path.is_dir():
        return ""
    there = {str(inner.relative_to(path)) for inner in path.rglob("*")}
    try:
        own = {OWN, *json.loads(read_text(path / OWN, LARGEST_MARK))} if OWN in there else set()
    except (UnreadableFileError, ValueError, TypeError):
        own = set()
    foreign = sorted(there - own)
    if not foreign:
        return ""
    more = f" and {len(foreign) - 1} more" if len(foreign) > 1 else ""
    return f"it holds {shown(foreign[0])}{more}, not written by a report before; name an empty folder, or a new one"


def _to_disk(handle: int) -> None:
    """Flush an open file to the disk, where its file system can; raises OSError."""
    try:
        os.fsync(handle)
    except OSError as error:
        if error.errno not in _NO_FSYNC:
            raise


def _unwritten(place: str, error: OSError) -> OutputError:
    return OutputError(f"{place} cannot be written: {error.strerror}; name another place")


def permissions(most: int) -> int:
    """Return the permissions of what is new: those of `most` that the user's umask leaves."""
    return most & ~_umask()


def _older_permissions(path: Path, most: int) -> int:
    """Return those of `most` that the file at a path has; 0 where there is none."""
    try:
        return most & path.stat().st_mode
    except OSError:
        return 0


def _umask() -> int:
    """Return the umask of the process: as Linux shows it now, elsewhere as it was at import."""
    try:
        status = STATUS.read_text(encoding="utf-8", errors="replace")
    except OSError:
        status = ""
    umask = re.search(r"^Umask:\s*([0-7]+)$", status, re.MULTILINE)
    return _UMASK_AT_IMPORT if umask is None else int(umask[1], 8)


def _umask_by_setting() -> int:
    """Return the umask by setting and restoring it, for all threads: only while there are no others."""
    umask = os.umask(0o077)
    os.umask(umask)
    return umask


_UMASK_AT_IMPORT = _umask_by_setting()
