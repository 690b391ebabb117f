"""Folders of compiled kernels that no installation uses any more.

Each change of the sources, of numba or of the processor has a folder of its own (`cache.folder_name`), 5 MB each.
"""

from __future__ import annotations

import contextlib
import os
import re
import shutil
import stat
import time
from pathlib import Path

UNUSED_S = 30 * 86_400.0
"""Time in seconds after its last use at which a folder is removed (practice)."""
_NAME = re.compile(r"kernels-[0-9a-f]{16}(-[0-9a-f]{8})?")


def mark_used(folder: Path) -> None:
    """Set the time at which a folder was used last: that of its last change."""
    with contextlib.suppress(OSError):
        os.utime(folder)


def remove_unused(folder: Path) -> None:
    """Remove the folders next to `folder`, this user's own and named alike, that nothing used for UNUSED_S.

    A process marks its folder when it opens and when it closes it, so none is removed that one may still load from.
    """
    oldest = time.time() - UNUSED_S
    with contextlib.suppress(OSError):
        for path in folder.parent.iterdir():
            if path != folder and _NAME.fullmatch(path.name) and _is_unused(path, oldest):
                shutil.rmtree(path, ignore_errors=True)


def _is_unused(path: Path, oldest: float) -> bool:
    """Whether a path is a folder of this user's whose last use was before `oldest`, in seconds since 1970."""
    try:
        status = path.lstat()
    except OSError:
        return False
    own = not hasattr(os, "geteuid") or status.st_uid == os.geteuid()
    return stat.S_ISDIR(status.st_mode) and own and status.st_mtime < oldest
