"""The store's folder: entries are read and written in it, private to the user and through no link."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from functools import cached_property
from pathlib import Path
from types import MappingProxyType
from typing import Any

from qc.cache import entry
from qc.cache.entry import DamagedError, Dated
from qc.cache.place import LONG, SENT, VARIABLE
from qc.cache.sweep import is_folder
from qc.files.atomic_write import write_file
from qc.files.bounded_read import UnreadableFileError
from qc.text.sanitize import shown

PRIVATE = 0o700
"""Mode of the folder and its subfolders: only the user looks into them."""
ATTEMPTS = 5
"""Attempts to write an entry while another process deletes its subfolder."""
NOTE = b"""\
Signature: 8a477f597d28d172789f06886806bc55
# What sidegate measured of audio files, so that it need not measure them again.
# Everything in here may be deleted at any time.
"""


class StoreFolder:
    """A folder of entries, made when the first one is written; `report` takes each kind of sentence once."""

    def __init__(self, path: Path, report: Callable[[str], None]) -> None:
        self.path, self.report = path, report
        self.written = False
        self._reported: set[str] = set()
        self.unusable: dict[Path, str] = {}
        """why an entry could not be used, by its path"""

    @cached_property
    def fault(self) -> str:
        """Why the folder is not used at all; empty when it is."""
        if self.path.name == SENT:
            return "a folder of this name may have come with a delivery"
        return "it is a link, and links are not followed" if self.path.is_symlink() else ""

    def names(self, subfolder: str) -> set[str]:
        """Return the names in a subfolder; none where it cannot be read or is a link."""
        if not self.fault and is_folder(self.path / subfolder):
            with contextlib.suppress(OSError):
                return set(os.listdir(self.path / subfolder))  # noqa: PTH208
        return set()

    def read(self, path: Path, key: str, kind: Any) -> Dated | None:
        """Return the entry of a type at a path, None when there is none that can be used."""
        if self.fault or not is_folder(path.parent):
            return None
        try:
            found = entry.read(path, key, kind)
        except FileNotFoundError:
            return None
        except (DamagedError, UnreadableFileError) as fault:
            self.unusable[path] = str(fault)
            self._report(f"what is stored in {shown(str(path), LONG)} {fault}; it is measured again", kind=str(fault))
            return None
        with contextlib.suppress(OSError):
            os.utime(path)  # used now: it goes after those that were not
        return found

    def write(
        self, path: Path, key: str, kind: Any, value: Any, parts: Mapping[str, str] = MappingProxyType({})
    ) -> None:
        """Write an entry of today; raises NotStorableError for a value that is not stored."""
        day = datetime.now(UTC).date().isoformat()
        try:
            for left in reversed(range(ATTEMPTS)):
                try:
                    self._make(path.parent)
                    entry.write(path, key, kind, value, day, parts)
                    break
                except FileNotFoundError:  # another process cleared the store meanwhile
                    if not left:
                        raise
            self.written = True
        except OSError as error:
            self._report(
                f"measurements are not stored in {shown(str(self.path), LONG)} ({error.strerror}); the next run "
                f"measures again, unless --cache or {VARIABLE} names another folder",
                kind="write",
            )

    def _make(self, subfolder: Path) -> None:
        """Make a subfolder, and the folder with marks for backups and version control; raises OSError."""
        if self.fault:
            raise OSError(0, self.fault)
        if is_folder(subfolder):
            return
        if subfolder.is_symlink():
            raise OSError(0, f"{subfolder.name} in it is a link, and links are not followed")
        if not self.path.is_dir() or not any(self.path.iterdir()):
            self.path.parent.mkdir(parents=True, exist_ok=True)
            self.path.mkdir(mode=PRIVATE, exist_ok=True)
            for name, text in (("CACHEDIR.TAG", NOTE), (".gitignore", b"*\n")):
                write_file(self.path / name, text, mode=entry.PRIVATE)
        subfolder.mkdir(mode=PRIVATE, exist_ok=True)

    def _report(self, sentence: str, kind: str) -> None:
        if kind not in self._reported:
            self._reported.add(kind)
            self.report(sentence)
