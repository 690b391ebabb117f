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
_RESULT = _FFI.typeof("long long[8]")
_ORDERED, _ALIGNED = 0x1, 0x100
"""numpy's numbers for C order and for numbers that lie where they belong."""
_TOLD = _ORDERED | _ALIGNED
_ARRAYS = frozenset({np.ndarray})
_SCALARS = {
    "d": frozenset({float, np.float64}),
    "q": frozenset({int, np.int64, np.int32}),
    "?": frozenset({bool, np.bool_}),
}
"""The usual types of a number; any other is looked at more closely (`kinds_of`), and made one of them."""
MOST_RETURNED = 8
"""Numbers that a kernel can give back."""


class NotLinkedError(Exception):
    """A kernel allocates, raises or gives back something else than numbers: only numba can run it."""


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
    if isinstance(word, float | np.floating):
        return "d"
    if isinstance(word, bool | np.bool_):
        return "?"
    if isinstance(word, int | np.integer):
        return "q"
    raise TypeError(f"a kernel takes arrays, float64, int64 and truth values, not {type(word).__name__}")


def usual(words: tuple[Any, ...], kinds: Kinds) -> tuple[Any, ...]:
    """Give arguments of some kinds in the usual types: of single numbers Python's, of arrays numpy's own."""
    made = {"d": float, "q": int, "?": bool}
    return tuple(
        np.asarray(word).view(np.dtype(kind[0])) if isinstance(kind, tuple) else made[kind](word)
        for word, kind in zip(words, kinds, strict=True)
    )


def key(what: Any) -> str:
    """Give a short name for kinds of arguments, and for what else tells code apart, for a file."""
    return hashlib.sha256(repr(what).encode()).hexdigest()[:12]


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
        self._wanted = tuple(_wanted(kind) for kind in kinds)
        self._result = struct.Struct("=" + code.returns)
        self._several = len(code.returns) > 1
        self._function = _FFI.cast(_declared(kinds), _machine().address(code))

    def taken_apart(self, words: tuple[Any, ...]) -> list[Any] | None:
        """Give arguments as the code takes them, what describes each array; None when one is of another kind.

        It is what a call costs besides its work, so arrays are looked at once, for their kind and for what they are.
        """
        flat: list[Any] = []
        for word, (types, dtype, dimensions, flags, itemsize) in zip(words, self._wanted, strict=True):
            if dtype is None:
                if word.__class__ not in types:
                    return None
                flat.append(word)
                continue
            if (
                word.__class__ not in types
                or word.dtype is not dtype
                or word.ndim != dimensions
                or word.flags.num & _TOLD != flags
            ):
                return None
            if flags & _ORDERED:
                address = _FFI.from_buffer(word)
            else:
                address = _FFI.cast("void *", word.__array_interface__["data"][0])
            flat += (0, 0, word.size, itemsize, address, *word.shape, *word.strides)
        return flat

    def run(self, flat: list[Any]) -> Any:
        """Run it without the GIL, with arguments taken apart."""
        result = _FFI.new(_RESULT)
        if self._function(result, _FFI.NULL, *flat):
            raise RuntimeError(f"the kernel {self._name} failed, which none may")
        if not self._result.size:
            return None
        got = self._result.unpack_from(_FFI.buffer(result))
        return got if self._several else got[0]

    def __call__(self, *words: Any) -> Any:
        """Run it; raises TypeError for arguments of other kinds."""
        flat = self.taken_apart(words)
        if flat is None:
            raise TypeError(f"{self._name} is linked for arguments of other kinds")
        return self.run(flat)


def _wanted(kind: Any) -> tuple[Any, Any, int, int, int]:
    """Give the types that an argument may have, and of an array also its format, dimensions, flags and octets."""
    if not isinstance(kind, tuple):
        return _SCALARS[kind], None, 0, 0, 0
    name, dimensions, ordered, aligned = kind
    dtype = np.dtype(name)
    return _ARRAYS, dtype, dimensions, _ORDERED * ordered | _ALIGNED * aligned, dtype.itemsize


def _declared(kinds: Kinds) -> str:
    """Write the function's type in C."""
    scalars = {"d": "double", "q": "long long", "?": "unsigned char"}
    words = ["void *", "void *"]
    for kind in kinds:
        if isinstance(kind, tuple):
            words += [*["long long"] * 4, "void *", *["long long"] * (2 * kind[1])]
        else:
            words.append(scalars[kind])
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
