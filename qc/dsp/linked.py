"""Machine code that was compiled once and is linked into the process: kernels without their compiler.

What a kernel's machine code expects is numba's: a place for the result, one for an error, then its arguments, each
array taken apart into what describes it. Here that call is made directly. So what remains to be imported is llvmlite,
which links the code, and cffi, which calls it without the GIL.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import struct
import tempfile
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import _cffi_backend
import numpy as np
from llvmlite import binding

Kinds = tuple[Any, ...]
"""What is known of each argument when a kernel is compiled: see `kinds_of`."""

_FFI = _cffi_backend.FFI()
MOST_RETURNED = 8
"""Numbers that a kernel can give back."""


@dataclass(frozen=True, slots=True)
class Code:
    """A kernel compiled for arguments of some kinds."""

    symbol: str
    """name of the function within the object"""
    returns: str
    """what it gives, as `struct` names it: d float64, q int64; several are a tuple"""
    object: bytes
    """machine code and what links it, in the system's own format"""


def kinds_of(words: tuple[Any, ...]) -> Kinds:
    """Tell arguments by kind: an array's format, dimensions, order and alignment; d float64, q int64, ? truth."""
    return tuple([_kind(word) for word in words])


def _kind(word: Any) -> Any:
    if isinstance(word, np.ndarray):
        flags = word.flags
        return word.dtype.str, word.ndim, flags.c_contiguous, flags.aligned
    if isinstance(word, float):
        return "d"
    if isinstance(word, bool | np.bool_):
        return "?"
    if isinstance(word, int | np.integer):
        return "q"
    raise TypeError(f"a kernel takes arrays, float64, int64 and truth values, not {type(word).__name__}")


def key(kinds: Kinds) -> str:
    """Give a short name for kinds of arguments, for a file."""
    return hashlib.sha256(repr(kinds).encode()).hexdigest()[:12]


# -- kept in a file --------------------------------------------------------------------------------------------


def write(path: Path, code: Code) -> None:
    """Keep code in a file, whole or not at all; where it cannot be kept it is compiled again another time."""
    told = {"symbol": code.symbol, "returns": code.returns, "sha256": hashlib.sha256(code.object).hexdigest()}
    with contextlib.suppress(OSError):
        handle, beside = tempfile.mkstemp(dir=path.parent, prefix=path.name)
        try:
            with os.fdopen(handle, "wb") as out:
                out.write(json.dumps(told).encode() + b"\n" + code.object)
            Path(beside).replace(path)
        except BaseException:
            Path(beside).unlink(missing_ok=True)
            raise


def read(path: Path) -> Code | None:
    """Give what `write` kept; None where nothing is, or what is there was damaged."""
    try:
        head, _, data = path.read_bytes().partition(b"\n")
        told = json.loads(head)
        if hashlib.sha256(data).hexdigest() != told["sha256"]:
            return None
        return Code(str(told["symbol"]), str(told["returns"]), data)
    except (OSError, ValueError, KeyError, TypeError):
        return None


# -- called ----------------------------------------------------------------------------------------------------


class Linked:
    """Code in this process, called with arguments of the kinds that it was compiled for."""

    def __init__(self, name: str, code: Code, kinds: Kinds) -> None:
        self._name = name
        self._arrays = tuple(isinstance(kind, tuple) for kind in kinds)
        self._result = struct.Struct("=" + code.returns)
        self._several = len(code.returns) > 1
        self._function = _FFI.cast(_declared(kinds), _machine().address(code))

    def __call__(self, *words: Any) -> Any:
        """Run it without the GIL."""
        flat: list[Any] = []
        for word, array in zip(words, self._arrays, strict=True):
            if array:
                address = word.__array_interface__["data"][0]
                flat += (0, 0, word.size, word.itemsize, address, *word.shape, *word.strides)
            else:
                flat.append(word)
        result, error = _FFI.new("long long[8]"), _FFI.new("void *[1]")
        if self._function(result, error, *flat):
            raise RuntimeError(f"the kernel {self._name} failed, which none may")
        got = self._result.unpack_from(_FFI.buffer(result))
        return got if self._several else got[0] if got else None


def _declared(kinds: Kinds) -> str:
    """Write the function's type in C."""
    scalars = {"d": "double", "q": "long long", "?": "unsigned char"}
    words = ["void *", "void *"]
    for kind in kinds:
        words += ["long long"] * (5 + 2 * kind[1]) if isinstance(kind, tuple) else [scalars[kind]]
    return f"int(*)({', '.join(words)})"


class Machine:
    """What links object code into the process, one for all kernels."""

    def __init__(self) -> None:
        binding.initialize_native_target()
        binding.initialize_native_asmprinter()
        target = binding.Target.from_default_triple().create_target_machine(jit=True)
        self._engine = binding.create_mcjit_compiler(binding.parse_assembly(""), target)

    def address(self, code: Code) -> int:
        """Link code and give where its function lies."""
        self._engine.add_object_file(binding.ObjectFileRef.from_data(code.object))
        self._engine.finalize_object()
        address: int = self._engine.get_function_address(code.symbol)
        if not address:
            raise RuntimeError(f"{code.symbol} is not in its own object")
        return address


@cache
def _machine() -> Machine:
    return Machine()
