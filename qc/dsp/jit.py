"""How kernels are compiled: once a machine, into a cache folder named by the digest of everything they come from.

numba's own cache looks at the file of the outermost function only, so a changed callee would leave old code
running. The folder's name therefore hashes all sources under qc/dsp and qc/groove with the versions that compile
them, and it is set before the first decorator runs.
"""

from __future__ import annotations

import atexit
import contextlib
import hashlib
import importlib
import os
import shutil
import sys
import tempfile
from collections.abc import Callable
from importlib.metadata import version
from pathlib import Path
from typing import Any, TypeVar

import numba
import numpy as np
from llvmlite.binding import get_host_cpu_name
from numba import config
from numpy.typing import NDArray

F = TypeVar("F", bound=Callable[..., Any])
_PACKAGE = Path(__file__).parent.parent
PASSING = "sidegate-kernels-"
"""How the name of a cache folder begins that goes away with the process."""


def _digest() -> str:
    """Hash the sources of all kernels, the compilers' versions and the CPU they are compiled for."""
    digest = hashlib.sha256()
    for folder in ("dsp", "groove"):
        for path in sorted((_PACKAGE / folder).glob("*.py")):
            digest.update(path.name.encode() + b"\0" + path.read_bytes())
    for part in (numba.__version__, version("llvmlite"), _cpu()):
        digest.update(part.encode() + b"\0")
    return digest.hexdigest()[:16]


def _cpu() -> str:
    """Name what the kernels are compiled for: NUMBA_CPU_NAME where it is set, else this machine."""
    return os.environ.get("NUMBA_CPU_NAME") or get_host_cpu_name()


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


def _without_scipy() -> None:
    """Import what numba imports at its first call, with scipy hidden, which no kernel needs and which takes long.

    numba looks for a BLAS there, and does without. A kernel that multiplies matrices still finds it later.
    """
    blas = "scipy.linalg.cython_blas"
    if blas in sys.modules:
        return
    sys.modules[blas] = None  # type: ignore[assignment]  # makes the import fail
    try:
        importlib.import_module("numba.np.arraymath")
    except ImportError:  # where numba keeps it is its own affair
        pass
    finally:
        del sys.modules[blas]


_without_scipy()
CACHE = _folder()
config.CACHE_DIR = str(CACHE)  # type: ignore[attr-defined]
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


def frozen(x: NDArray[Any]) -> NDArray[Any]:
    """Give x in C order and read-only, as a kernel wants it: one of each array's types is enough to compile for."""
    x = np.ascontiguousarray(x)
    if x.flags.writeable:
        x = x.view()
        x.flags.writeable = False
    return x


def kernel(function: F) -> F:
    """Compile without the GIL, cached; products may be contracted into sums, nothing else is reordered."""
    return _compiled(function, {"contract"})


def as_written(function: F) -> F:
    """Compile with every product and sum rounded by itself and in its place, as numpy does."""
    return _compiled(function, set())


def _compiled(function: F, fastmath: set[str]) -> F:
    compiled: Any = numba.njit(nogil=True, cache=True, fastmath=fastmath or False, error_model="numpy")(function)
    result: F = compiled
    return result
