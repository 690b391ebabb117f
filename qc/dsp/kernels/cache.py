"""The folder that compiled kernels lie in: named by a digest of all that their code comes from.

Changed code is never run with old parts, whoever calls whom: sources of kernels in folders however deep, the
compilers' versions, and what the processor can.
"""

from __future__ import annotations

import atexit
import contextlib
import hashlib
import os
import shutil
import sys
import tempfile
from importlib.metadata import version
from pathlib import Path

from llvmlite.binding import get_default_triple, get_host_cpu_features, get_host_cpu_name

_PACKAGE = Path(__file__).parents[2]
TOLD = ("NUMBA_CPU_NAME", "NUMBA_CPU_FEATURES", "NUMBA_ENABLE_AVX", "NUMBA_OPT")
"""Variables by which numba is told what to compile for."""
PASSING = "sidegate-kernels-"
"""How the name of a cache folder begins that goes away with the process."""


def digest() -> str:
    """Hash the sources of all kernels, the compilers' versions and the CPU they are compiled for."""
    found = hashlib.sha256()
    for folder in ("dsp", "groove"):
        for path in sorted((_PACKAGE / folder).rglob("*.py")):
            found.update(path.relative_to(_PACKAGE).as_posix().encode() + b"\0" + path.read_bytes())
    for part in (version("numba"), version("llvmlite"), _cpu()):
        found.update(part.encode() + b"\0")
    return found.hexdigest()[:16]


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
    name = f"kernels-{digest()}"
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
