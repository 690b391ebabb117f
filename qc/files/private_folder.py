"""Folders whose contents are trusted, because no one but this user can have put them there."""

from __future__ import annotations

import contextlib
import os
import stat
from pathlib import Path


def make_private(folder: Path) -> None:
    """Make a folder, or check that what is in it can only come from this user; raises OSError where it may not.

    Folders are then open to this user alone. Links, and what is neither file nor folder, are removed.
    """
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    if not hasattr(os, "geteuid"):
        return
    closed = _own_folder(folder, writable_by_others=False).st_mode & 0o077 == 0
    folder.chmod(0o700)
    for inner in (folder.glob("*"), folder.glob("*/*")):  # the second once links are gone from the first
        for path in inner:
            with contextlib.suppress(FileNotFoundError):  # another process renamed or removed it
                _settle(path, writable_by_others=closed)


def check_private(folder: Path) -> None:
    """Check that what is in a folder can only come from this user, and change nothing; raises OSError if it may not."""
    if hasattr(os, "geteuid"):
        _own_folder(folder, writable_by_others=False)
        for inner in folder.glob("*"):
            if inner.is_dir() or inner.is_symlink():
                _own_folder(inner, writable_by_others=False)


def _settle(path: Path, *, writable_by_others: bool) -> None:
    """Close a folder to others; remove what is no plain file of this user's; raises OSError.

    A folder that numba made is as open as the umask says, which does not matter within one that is closed.
    """
    status = path.lstat()
    if stat.S_ISDIR(status.st_mode):
        _own_folder(path, writable_by_others=writable_by_others)
        path.chmod(0o700)
    elif not stat.S_ISREG(status.st_mode) or status.st_uid != os.geteuid():
        path.unlink()


def _own_folder(folder: Path, *, writable_by_others: bool) -> os.stat_result:
    """Return the status of a folder of this user's; raises OSError for a link, another's, or one others may write."""
    status = folder.lstat()
    if not stat.S_ISDIR(status.st_mode) or status.st_uid != os.geteuid():
        raise PermissionError(f"{folder} is not this user's own folder")
    if not writable_by_others and status.st_mode & 0o022:
        raise PermissionError(f"others may write to {folder}")
    return status
