"""Kernels: functions that are machine code when they are called, compiled once a machine.

A call is by the kinds of its arguments. For each, the machine code lies in a cache folder and is linked into the
process (`linked`), which takes next to nothing; only where it does not lie there yet is the compiler imported
(`compiler`). The folder is named by the digest of everything that code comes from, so changed code is never run
with old parts, whoever calls whom.
"""

from __future__ import annotations

import atexit
import contextlib
import functools
import hashlib
import importlib
import os
import shutil
import sys
import tempfile
import threading
from collections.abc import Callable
from importlib.metadata import version
from pathlib import Path
from typing import Any, TypeVar

import numpy as np
from llvmlite.binding import get_default_triple, get_host_cpu_features, get_host_cpu_name

from qc.dsp.kernels import linked

F = TypeVar("F", bound=Callable[..., Any])
_PACKAGE = Path(__file__).parents[2]
TOLD = ("NUMBA_CPU_NAME", "NUMBA_CPU_FEATURES", "NUMBA_ENABLE_AVX", "NUMBA_OPT")
"""Variables by which numba is told what to compile for."""
PASSING = "sidegate-kernels-"
"""How the name of a cache folder begins that goes away with the process."""


def _digest() -> str:
    """Hash the sources of all kernels, the compilers' versions and the CPU they are compiled for."""
    digest = hashlib.sha256()
    for folder in ("dsp", "groove"):
        for path in sorted((_PACKAGE / folder).rglob("*.py")):
            digest.update(path.relative_to(_PACKAGE).as_posix().encode() + b"\0" + path.read_bytes())
    for part in (version("numba"), version("llvmlite"), _cpu()):
        digest.update(part.encode() + b"\0")
    return digest.hexdigest()[:16]


_HOST = str(get_host_cpu_features().flatten())
"""What this machine's processor can."""


def _features() -> str:
    """Name what numba lets the compiler use of the processor, by the rules that numba goes by."""
    told = os.environ.get("NUMBA_CPU_FEATURES")
    if told is not None:
        return told
    if os.environ.get("NUMBA_CPU_NAME") or os.environ.get("NUMBA_ENABLE_AVX") == "0":
        return ""
    return _HOST


LONG = "+avx512f" in _features().split(",")
"""Whether a vector of sixteen float32 is one register, and there are 32 of them; else it is two of 16, or four."""


def _cpu() -> str:
    """Name what the kernels are compiled for: this machine with all it can, or what numba is told to compile for.

    Machines of one name may have parts of it switched off, and code for those must not be run there.
    """
    told = [f"{name}={os.environ[name]}" for name in TOLD if os.environ.get(name)]
    return " ".join([get_default_triple(), get_host_cpu_name(), _HOST, *told])


def _folder() -> Path:
    """Give the cache folder; where the user's cache cannot be written, one that goes away with the process."""
    name = f"kernels-{_digest()}"
    try:
        root = os.environ.get("SIDEGATE_CACHE") or os.environ.get("XDG_CACHE_HOME") or str(Path.home() / ".cache")
        folder = Path(root) / "sidegate" / name
        folder.mkdir(parents=True, exist_ok=True)
        if os.access(folder, os.W_OK):
            return folder
    except (OSError, RuntimeError):  # RuntimeError: a user without a home
        pass
    passing = tempfile.mkdtemp(prefix=PASSING)
    atexit.register(shutil.rmtree, passing, ignore_errors=True)
    return Path(passing)


CACHE = _folder()
LASTING = not CACHE.name.startswith(PASSING)
"""Whether another process finds what this one compiles."""
_READY = CACHE / "ready"


def announce() -> bool:
    """Say on stderr that the kernels will be compiled, when they were not yet; returns whether it said so."""
    if _READY.exists():
        return False
    with contextlib.suppress(OSError, ValueError):  # nobody listens
        sys.stderr.write("sidegate: compiling its measuring code for this machine, once; about 10 seconds\n")
    return True


def ready() -> None:
    """Remember that a whole pass has run, so that the kernels are in the cache."""
    with contextlib.suppress(OSError):
        if not _READY.exists():
            _READY.touch()


index: Any = np.int64
"""Makes a constant an index like any other; a plain 2 would have a kernel compiled once more, for 2 alone."""


class Later:
    """Something that takes the compiler, by name: looked up, and called with what it was called with, when needed."""

    def __init__(self, module: str, name: str, words: tuple[Any, ...] | None = None) -> None:
        self._module, self._name, self._words = module, name, words

    def __call__(self, *words: Any) -> Later:
        """Name what it makes of these words."""
        return Later(self._module, self._name, words)

    @functools.cached_property
    def real(self) -> Any:
        """The thing itself."""
        found = getattr(importlib.import_module(self._module), self._name)
        return found if self._words is None else found(*self._words)


class Kernel:
    """A function that runs as machine code, without the GIL; inside other kernels it becomes a part of them.

    Arrays and numbers are what it takes: it writes into arrays it is given, allocates nothing and raises nothing.
    Such a kernel needs nothing of the compiler when it runs; any other is still run, by numba. Whether numpy has an
    array closed to writing is not looked at.
    """

    def __init__(self, function: Callable[..., Any], *, contract: bool) -> None:
        functools.update_wrapper(self, function)
        self.function, self.contract = function, contract
        self.made: dict[linked.Kinds, Callable[..., Any]] = {}
        """what is called, by the kinds of arguments it was called with"""
        self._last: linked.Linked | None = None

    def __call__(self, *words: Any) -> Any:
        """Run it."""
        last = self._last
        if last is not None:
            flat = last.taken_apart(words)
            if flat is not None:
                return last.run(flat)
        kinds = linked.kinds_of(words)
        made = self.made.get(kinds)
        if made is None:
            made = self._make(kinds)
        if not isinstance(made, linked.Linked):
            return made(*words)
        self._last = made
        return made(*linked.usual(words, kinds))

    @property
    def name(self) -> str:
        """Module and name within the package."""
        return f"{self.function.__module__.rpartition('.')[2]}.{self.function.__name__}"

    @functools.cached_property
    def _source(self) -> str:
        """What tells a kernel from others of its name: its module, and the file that it stands in."""
        with contextlib.suppress(OSError):
            text = Path(self.function.__code__.co_filename).read_bytes()
            return f"{self.function.__module__} {hashlib.sha256(text).hexdigest()}"
        return f"{self.function.__module__} {self.function.__code__.co_code.hex()}"

    def _make(self, kinds: linked.Kinds) -> Callable[..., Any]:
        """Link what lies in the cache, or have it compiled and keep it there."""
        with _MAKING:
            if kinds not in self.made:
                path = CACHE / f"{self.name}-{linked.key((self._source, kinds))}.object"
                code = linked.read(path)
                if code is None:
                    # numba is imported only where there is something to compile; and it imports this module
                    compiler: Any = importlib.import_module("qc.dsp.kernels.compiler")
                    try:
                        code = compiler.code_of(self, kinds)
                    except linked.NotLinkedError:
                        self.made[kinds] = compiler.compiled(self)
                        return self.made[kinds]
                    linked.write(path, code)
                self.made[kinds] = linked.Linked(self.name, code, kinds)
            return self.made[kinds]


_MAKING = threading.RLock()


def kernel(function: F) -> F:
    """Compile without the GIL, cached; products may be contracted into sums, nothing else is reordered."""
    made: Any = Kernel(function, contract=True)
    result: F = made
    return result


def as_written(function: F) -> F:
    """Compile with every product and sum rounded by itself and in its place, as numpy does."""
    made: Any = Kernel(function, contract=False)
    result: F = made
    return result
