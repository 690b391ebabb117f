"""Has kernels compiled: the only place that imports numba, where a kernel's code is not in the cache yet."""

from __future__ import annotations

import importlib
import re
import sys
import types as python
from functools import cache
from typing import Any, Literal

import numpy as np
from llvmlite import binding

from qc.dsp.kernels.cache import CACHE
from qc.dsp.kernels.kernel import Kernel, Later
from qc.dsp.kernels.linked import MOST_RETURNED, Code, Kinds, NotLinkedError


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

import numba  # noqa: E402 - not before scipy is hidden
from numba import config  # noqa: E402
from numba.core import types  # noqa: E402
from numba.core.registry import cpu_target  # noqa: E402
from numba.np.numpy_support import from_dtype  # noqa: E402

config.CACHE_DIR = str(CACHE)  # type: ignore[attr-defined]

_SCALARS = {"d": types.float64, "q": types.int64, "?": types.boolean}
_RETURNED = {types.float64: "d", types.int64: "q"}
_LINKABLE = {"memcpy", "memmove", "memset"}
"""What object code may call outside itself: what every C library has, and has the same."""
_FAILS = re.compile(r"^\s*ret i32 (?!0\b)", re.MULTILINE)
"""How a kernel ends that may give an error."""


Use = Literal["called", "part", "alone"]
"""What a function of numba's is for: Python calls it, other kernels do, or its code is taken and linked."""
_COUNTS = re.compile(r"^.*\bcall void @NRT_(?:inc|dec)ref\(.*\n", re.MULTILINE)
"""Where numba counts who holds an array: these are the caller's, who holds them. One of the kernel's own would be
allocated, and that stays."""


def code_of(kernel: Kernel, kinds: Kinds) -> Code:
    """Compile a kernel for arguments of some kinds; raises NotLinkedError where it cannot be linked by itself."""
    module, symbol, returns = _alone(kernel, kinds)
    outside = {one.name for one in module.functions if one.is_declaration and not one.name.startswith("llvm.")}
    outside |= {one.name for one in module.global_variables if one.is_declaration}
    if outside - _LINKABLE:
        raise NotLinkedError(f"{kernel.name} calls {', '.join(sorted(outside))}")
    if any(_FAILS.search(str(one)) for one in module.functions if one.name == symbol):
        raise NotLinkedError(f"{kernel.name} may raise")
    return Code(symbol, returns, _target().emit_object(module))


def assembly_of(kernel: Kernel, kinds: Kinds) -> str:
    """Give what `code_of` compiles as a reader of machine code wants it."""
    text: str = _target().emit_assembly(_alone(kernel, kinds)[0])
    return text


def _alone(kernel: Kernel, kinds: Kinds) -> tuple[Any, str, str]:
    """Give a kernel's module with nothing else that can be called from outside, its name there, and what it returns."""
    function, signature = _numba(kernel, "alone"), tuple(_type(kind) for kind in kinds)
    function.compile(signature)
    made = function.overloads[signature]
    given = made.signature.return_type
    each: list[Any] = [] if given is types.none else [given]
    if isinstance(given, types.BaseTuple):
        each = list(given.types)  # type: ignore[attr-defined]
    if any(one not in _RETURNED for one in each) or len(each) > MOST_RETURNED:
        raise NotLinkedError(f"{kernel.name} gives back {given}")
    symbol = made.fndesc.llvm_func_name
    module = binding.parse_assembly(_COUNTS.sub("", made.library.get_llvm_str()))
    for one in [*module.functions, *module.global_variables]:
        if not one.is_declaration and one.name != symbol:
            one.linkage = "internal"
    passes = binding.create_new_module_pass_manager()
    passes.add_ipsccp_pass()  # a callee that never fails says so to its caller
    passes.add_simplify_cfg_pass()
    passes.add_global_dead_code_eliminate_pass()
    passes.run(module, binding.create_pass_builder(_target(), binding.create_pipeline_tuning_options()))
    return module, symbol, "".join(_RETURNED[one] for one in each)


def _type(kind: Any) -> Any:
    if not isinstance(kind, tuple):
        return _SCALARS[kind]
    dtype, dimensions, ordered, aligned = kind
    return types.Array(from_dtype(np.dtype(dtype)), dimensions, "C" if ordered else "A", aligned=aligned)


def _target() -> Any:
    """Give numba's own description of the processor that it compiles for."""
    return cpu_target.target_context.codegen()._tm  # noqa: SLF001 - nothing public tells


def compiled(kernel: Kernel) -> Any:
    """Give numba's own function for a kernel, which runs where none can be linked."""
    return _numba(kernel, "called")


@cache
def _numba(kernel: Kernel, use: Use) -> Any:
    """Give numba's function for a kernel.

    Only one that Python calls needs what numba wraps around it, twice and with the whole function inside: most of what
    is compiled otherwise. numba's own cache does not tell the two apart, so their names do.
    """
    plain = kernel.function
    function = python.FunctionType(plain.__code__, _seen_by_compiler(plain.__globals__), plain.__name__)
    function.__module__, function.__qualname__ = plain.__module__, f"{plain.__qualname__}.{use}"
    options: dict[str, Any] = {
        "nogil": True,
        "cache": use == "called",
        "fastmath": {"contract"} if kernel.contract else False,
        "error_model": "numpy",
        "no_cpython_wrapper": use != "called",
        "no_cfunc_wrapper": use != "called",
    }
    return numba.njit(**options)(function)


_SEEN: dict[int, dict[str, Any]] = {}


def _seen_by_compiler(names: dict[str, Any]) -> dict[str, Any]:
    """Give a module's names, those that stand for kernels, vectors and modules of such replaced by what they name."""
    if id(names) not in _SEEN:
        seen = _SEEN[id(names)] = dict(names)  # known before it is filled: kernels name what is beside them
        seen.update((name, _real(thing)) for name, thing in names.items())
    return _SEEN[id(names)]


def _real(thing: Any) -> Any:
    if isinstance(thing, Kernel):
        return _numba(thing, "part")
    if isinstance(thing, Later):
        return thing.real
    if isinstance(thing, python.ModuleType) and any(isinstance(one, Kernel) for one in vars(thing).values()):
        seen = python.ModuleType(thing.__name__)
        vars(seen).update(_seen_by_compiler(vars(thing)))
        return seen
    return thing
