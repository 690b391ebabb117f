"""Decorators that make a function a kernel."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

from qc.dsp.kernels import linked
from qc.dsp.kernels.kernel import Kernel

F = TypeVar("F", bound=Callable[..., Any])


def _compiled(kernel: Kernel, kinds: linked.Kinds) -> linked.Code | Callable[..., Any]:
    """Compile a kernel; numba is imported only here, where there is something to compile."""
    from qc.dsp.kernels import compiler

    try:
        return compiler.code_of(kernel, kinds)
    except linked.NotLinkedError:
        return compiler.compiled(kernel)


def kernel(function: F) -> F:
    """Compile without the GIL, cached; products may be contracted into sums, nothing else is reordered."""
    made: Any = Kernel(function, _compiled, contract=True)
    result: F = made
    return result


def as_written(function: F) -> F:
    """Compile with every product and sum rounded by itself and in its place, as numpy does."""
    made: Any = Kernel(function, _compiled, contract=False)
    result: F = made
    return result
