"""The processor that kernels are compiled for: this machine's, or the one that numba's variables name."""

from __future__ import annotations

import os
from importlib.metadata import version

from llvmlite.binding import get_default_triple, get_host_cpu_features, get_host_cpu_name

COMPILER_VARIABLES = ("NUMBA_CPU_NAME", "NUMBA_CPU_FEATURES", "NUMBA_ENABLE_AVX", "NUMBA_OPT")
"""Environment variables that change the code numba generates."""
_HOST_FEATURES = str(get_host_cpu_features().flatten())


def description() -> str:
    """Describe the compiler and its target: versions, platform, processor with its features, numba's variables.

    Machines with the same processor name may have features switched off, and code that uses them must not run there.
    """
    settings = [f"{name}={os.environ[name]}" for name in COMPILER_VARIABLES if os.environ.get(name)]
    versions = [f"numba {version('numba')}", f"llvmlite {version('llvmlite')}"]
    return "\n".join([*versions, get_default_triple(), get_host_cpu_name(), _HOST_FEATURES, *settings])


def _features() -> str:
    """Return the processor features that numba lets the compiler use, by numba's own rules."""
    features = os.environ.get("NUMBA_CPU_FEATURES")
    if features is not None:
        return features
    if os.environ.get("NUMBA_CPU_NAME") or os.environ.get("NUMBA_ENABLE_AVX") == "0":
        return ""
    return _HOST_FEATURES


AVX512 = "+avx512f" in _features().split(",")
"""Whether sixteen float32 fit in one register and there are 32 of those; without it they take two or four of 16."""
