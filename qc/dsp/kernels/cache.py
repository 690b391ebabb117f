"""The folder of compiled kernels: numba's own on-disk cache, in a folder of ours whose files are checked.

numba (`cache=True`) keeps an index and data files for every kernel, by source file, line, bytecode, argument types and
processor. Three things are left to its user, and are done here:

* A change in a callee that lies in another file goes unnoticed by numba. So the folder is named by a digest of all
  sources of kernels, of the versions of numba and llvmlite, and of the processor.
* numba trusts what it reads, and runs it. So the folder must be this user's alone; and `checksums.json` lists the
  SHA-256 of every file: any other file is removed when the folder is opened, and what was in it is compiled again.
* Several first starts would each compile everything. So one process compiles under a lock, and marks the folder as
  complete; the others wait for the mark. Until it is there, files are removed under the lock only.

The public way to choose numba's folder is `numba.config.CACHE_DIR`, the setting behind NUMBA_CACHE_DIR. numba reads it
when a function is decorated, and then tries no other place, such as `__pycache__` by the sources that may be read-only,
as long as the folder can be written. It is set for the length of the decoration alone, so that other code in the
process that uses numba keeps the folder it chose.

numba passes over a folder that is read-only, and raises where a kernel cannot be stored on a full disk. In both cases
the kernels of a complete folder are copied to one that goes away with the process.
"""

from __future__ import annotations

import atexit
import contextlib
import glob
import hashlib
import json
import os
import shutil
import sys
import tempfile
from collections.abc import Iterator, Mapping
from functools import cache
from pathlib import Path
from typing import Any

from qc.dsp.kernels import target
from qc.dsp.kernels.old_folders import mark_used, remove_unused
from qc.files.atomic_write import write_file
from qc.files.bounded_read import UnreadableFileError, read_bytes
from qc.files.private_folder import check_private, make_private

_PACKAGE = Path(__file__).parents[2]
SPACE = 1 << 26
"""Free bytes that the folder's disk must have before kernels are stored there."""
WAIT_S = 120.0
"""Time in seconds that a process waits for another one that compiles, before it compiles by itself."""
LARGEST = 64 << 20
"""Bytes of a file of the folder that are read at the most."""
_RECORD = "checksums.json"


@cache
def digest() -> str:
    """Return 16 hex digits that change with the sources of kernels, the compiler or its target."""
    found = hashlib.sha256()
    for path in _sources():
        found.update(path.relative_to(_PACKAGE).as_posix().encode() + b"\0" + path.read_bytes())
    found.update(target.description().encode())
    return found.hexdigest()[:16]


def folder_name() -> str:
    """Return the name of the folder: the digest, and 8 hex digits of what numba looks at besides.

    numba stores kernels by the path of their source and by Python's version, and some versions of it by the time of
    the last change. None of it changes a result, so it is no part of `digest`.
    """
    changed = max(path.stat().st_mtime_ns for path in _sources())
    place = f"{_PACKAGE}\0{changed}\0{sys.implementation.cache_tag}"
    return f"kernels-{digest()}-{hashlib.sha256(os.fsencode(place)).hexdigest()[:8]}"


def _sources() -> list[Path]:
    """List the sources of kernels, in a fixed order."""
    return [path for package in ("dsp", "groove") for path in sorted((_PACKAGE / package).rglob("*.py"))]


class KernelCache:
    """A folder that numba stores kernels in.

    `persistent` is False for a folder that goes away with the process. Every file of numba's whose bytes are not those
    that were recorded is removed; raises OSError where that fails, where others may have filled the folder, where it
    cannot be written, or where its disk is full, which `may_be_full` allows for a complete folder.
    """

    def __init__(self, folder: Path, *, persistent: bool, may_be_full: bool = False) -> None:
        self.folder, self.persistent = folder, persistent
        self.complete = False
        """whether some process has compiled all kernels into it"""
        self._checked: dict[str, str] = {}
        """SHA-256 of each checked file, by path within the folder"""
        make_private(folder)
        mark_used(folder)
        tempfile.TemporaryFile(dir=folder).close()  # as numba asks whether it can write
        self.check()
        enough = not persistent or (may_be_full and self.complete) or shutil.disk_usage(folder).free >= SPACE
        if not enough:
            raise OSError("too little space for compiled kernels")

    def copy(self, folder: Path) -> None:
        """Copy the recorded files of another folder, if that is complete; raises OSError where others may write to it.

        Nothing in the other folder is changed, and all or nothing is copied.
        """
        check_private(folder)
        complete, recorded = _recorded(folder)
        try:
            for path in _files(folder) if complete else ():
                name = path.relative_to(folder).as_posix()
                content = read_bytes(path, LARGEST, follow=False)
                if hashlib.sha256(content).hexdigest() == recorded.get(name):
                    (self.folder / name).parent.mkdir(mode=0o700, exist_ok=True)
                    (self.folder / name).write_bytes(content)
        except BaseException:
            for path in _files(self.folder):
                path.unlink()
            raise
        self.complete = complete

    def adopt(self, root: Path) -> None:
        """Move kernels from the cache of another process, which ended and had `root` as its SIDEGATE_CACHE, to here.

        Those this folder has already stay as they are: numba numbers the data files of a kernel in the order of its
        index, so what two processes stored of one kernel cannot be put together.
        """
        other = root / "sidegate" / folder_name()
        for index in other.glob("*/*.nbi"):
            there = self.folder / index.parent.name
            if not (there / index.name).exists():
                there.mkdir(mode=0o700, exist_ok=True)
                for path in (*index.parent.glob(f"{glob.escape(index.stem)}.*.nbc"), index):
                    shutil.move(path, there / path.name)

    @contextlib.contextmanager
    def chosen(self, config: Any) -> Iterator[None]:
        """Have numba, whose `config` this is, choose this folder for the functions it decorates meanwhile."""
        before, config.CACHE_DIR = config.CACHE_DIR, str(self.folder)
        try:
            yield
        finally:
            config.CACHE_DIR = before

    def check(self) -> None:
        """Remove every file that is not recorded as it is.

        Until the folder is complete, files may be those that another process is just compiling; those stay.
        """
        self.complete, recorded = _recorded(self.folder)
        if self.complete or not _files(self.folder):
            self._keep(recorded)
            return
        with self._locked(0.0) as idle:
            if idle:
                self.complete, recorded = _recorded(self.folder)
                self._keep(recorded)

    def _keep(self, recorded: Mapping[str, str]) -> None:
        """Keep the files whose SHA-256 is recorded, and remove all others."""
        self._checked = {}
        for path in _files(self.folder):
            name = path.relative_to(self.folder).as_posix()
            try:
                found = _sha256(path)
            except UnreadableFileError:
                found = ""
            if found and found == recorded.get(name):
                self._checked[name] = found
            else:
                path.unlink(missing_ok=True)  # another process may have removed it first

    def record(self, *, complete: bool | None = None) -> None:
        """Record the files that were added since the folder was checked, and whether all kernels are there now."""
        names = {path.relative_to(self.folder).as_posix() for path in _files(self.folder)}
        if not self.persistent or (names == self._checked.keys() and complete in {None, self.complete}):
            return
        self.complete = _recorded(self.folder)[0] if complete is None else complete
        with contextlib.suppress(OSError, UnreadableFileError):  # what is not recorded is compiled again
            self._checked = {name: _sha256(self.folder / name) for name in names}
            text = json.dumps({"complete": self.complete, "files": self._checked}, indent=1, sort_keys=True)
            write_file(self.folder / _RECORD, f"{text}\n".encode(), mode=0o600)

    def close(self) -> None:
        """Record what was added, or remove a folder that goes away with the process."""
        if self.persistent:
            self.record()
            mark_used(self.folder)
        else:
            shutil.rmtree(self.folder, ignore_errors=True)

    @contextlib.contextmanager
    def compiling(self) -> Iterator[bool]:
        """Yield whether the caller has to compile all kernels; it says so on stderr, and waits for a process that does.

        The folder is complete when the caller is done, unless it raises.
        """
        if self.complete:
            yield False
            return
        if not self.persistent:
            _say("compiling its measuring code, which cannot be stored; about 30 seconds")
            yield True
            self.complete = True
            return
        with contextlib.ExitStack() as stack:
            alone = stack.enter_context(self._locked(0.0))
            if not alone:
                _say("another run is compiling the measuring code for this machine; waiting for it")
                alone = stack.enter_context(self._locked(WAIT_S))
            self.complete, recorded = _recorded(self.folder)
            if alone or self.complete:
                self._keep(recorded)
            if self.complete:
                yield False
                return
            _say("compiling its measuring code for this machine, once; about 20 seconds")
            try:
                yield True
            except BaseException:
                self.record()
                raise
            self.record(complete=True)
            remove_unused(self.folder)

    @contextlib.contextmanager
    def _locked(self, wait: float) -> Iterator[bool]:
        """Hold the folder's lock between processes; yields False where it cannot be had within `wait`, s."""
        from filelock import FileLock, Timeout  # only a first run needs it

        lock = FileLock(self.folder / "lock")
        try:
            lock.acquire(timeout=wait)
        except (Timeout, OSError, NotImplementedError):  # NotImplementedError: a disk without locks
            yield False
            return
        try:
            yield True
        finally:
            lock.release()


@cache
def opened() -> KernelCache:
    """Open the cache of this process; one that goes away with the process where the user's cannot be written."""
    folder = None
    try:
        folder = _root() / "sidegate" / folder_name()
        found = KernelCache(folder, persistent=True)
    except (OSError, RuntimeError):  # RuntimeError: a user without a home
        found = _passing(folder)
    atexit.register(found.close)
    return found


def _passing(folder: Path | None) -> KernelCache:
    """Open a cache that goes away with the process, with the kernels of `folder` if that is complete.

    Where they cannot be copied, because all disks are full, the complete folder itself is used.
    """
    found = KernelCache(Path(tempfile.mkdtemp(prefix="sidegate-kernels-")), persistent=False)
    if folder is None:
        return found
    with contextlib.suppress(OSError, UnreadableFileError):
        found.copy(folder)
        return found
    with contextlib.suppress(OSError):
        full = KernelCache(folder, persistent=True, may_be_full=True)
        found.close()
        return full
    return found


def close() -> None:
    """Close the cache of this process, if there is one, before an end without Python's exit handlers."""
    if opened.cache_info().currsize:
        opened().close()


def _root() -> Path:
    """Return the folder for cache folders; one that is relative is not used, for it may lie in a delivery."""
    for name in ("SIDEGATE_CACHE", "XDG_CACHE_HOME"):
        named = Path(os.environ.get(name, ""))
        if named.is_absolute():
            return named
    return Path.home() / ".cache"


def _recorded(folder: Path) -> tuple[bool, dict[str, str]]:
    """Read the record: whether all kernels are there, and the SHA-256 of each file; none where it is damaged."""
    try:
        record = json.loads(read_bytes(folder / _RECORD, LARGEST, follow=False))
        return bool(record["complete"]), {str(name): str(value) for name, value in record["files"].items()}
    except (UnreadableFileError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return False, {}


def _files(folder: Path) -> list[Path]:
    """List numba's indices and data files."""
    return [path for path in folder.glob("*/*") if path.suffix in {".nbi", ".nbc"}]


def _sha256(path: Path) -> str:
    """Return the SHA-256 of a plain file; raises UnreadableFileError."""
    return hashlib.sha256(read_bytes(path, LARGEST, follow=False)).hexdigest()


def _say(text: str) -> None:
    with contextlib.suppress(OSError, ValueError):  # stderr is closed
        sys.stderr.write(f"sidegate: {text}\n")
