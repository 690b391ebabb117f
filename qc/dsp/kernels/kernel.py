"""A kernel: a function that is machine code when it is called, compiled once a machine.

A call is by the kinds of its arguments. For each, the machine code lies in the cache folder and is linked into the
process (`linked`), which takes next to nothing; only where it does not lie there yet is the compiler imported.
"""

from __future__ import annotations

import contextlib
import functools
import hashlib
import importlib
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from qc.dsp.kernels import linked
from qc.dsp.kernels.cache import CACHE

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


Compiler = Callable[["Kernel", linked.Kinds], "linked.Code | Callable[..., Any]"]
"""Compiles a kernel for arguments of some kinds: to code that can be linked, else to what numba calls."""


class Kernel:
    """A function that runs as machine code, without the GIL; inside other kernels it becomes a part of them.

    Arrays and numbers are what it takes: it writes into arrays it is given, allocates nothing and raises nothing.
    Such a kernel needs nothing of the compiler when it runs; any other is still run, by numba. Whether numpy has an
    array closed to writing is not looked at.
    """

    def __init__(self, function: Callable[..., Any], compiler: Compiler, *, contract: bool) -> None:
        functools.update_wrapper(self, function)
        self.function, self.contract, self._compiler = function, contract, compiler
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
                stored = linked.read(path)
                code = self._compiler(self, kinds) if stored is None else stored
                if not isinstance(code, linked.Code):
                    self.made[kinds] = code
                    return code
                if stored is None:
                    linked.write(path, code)
                self.made[kinds] = linked.Linked(self.name, code, kinds)
            return self.made[kinds]


_MAKING = threading.RLock()
