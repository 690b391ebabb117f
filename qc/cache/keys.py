"""Key of a stored result: one digest of the sound, the need with its parameters and taps, and the code.

No version has to be raised by hand: the sources that measure are part of the key, and so is what compiled them.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import sys
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields, is_dataclass
from functools import cache
from pathlib import Path
from typing import Any, ForwardRef, TypeVar, get_args, get_origin

from qc.cache.codec import NotStorableError
from qc.dsp.kernels.cache import digest as digest_of_kernels
from qc.model.version import VERSION
from qc.plugin_base import Analysis, Need, Stream, Tap

FORMAT = 3
_OWN = __name__.partition(".")[0]
MOST_FILES = 2_000
"""Sources of a plugin that are gone through at the most."""
_CORE = ("audio/**/*.py", "model/cutting_chain.py", "model/quantity.py", "plugin_base.py", "plugin_api/*.py")
"""Sources of the core that decide what a sample or a number is, besides those of the kernels: containers and decoding,
the pass, units, the cutting chain."""


@dataclass(frozen=True, slots=True)
class Sound:
    """Audio that was measured: its stream, and its files, each with its digest, first frame and frames."""

    stream: Stream
    files: tuple[tuple[str, int, int], ...]

    @property
    def digest(self) -> str:
        """Name of all that is stored of these files."""
        return _digest(self.files)[:32]


def key_of(analysis: Analysis[Any], sound: Sound, versions: Mapping[str, str], *on: Any) -> str:
    """Return the key of a result as 64 hex digits; raises NotStorableError where its inputs cannot be written down.

    `versions` names the distribution of each plugin's outermost package, with its version. `on` is what values
    computed from the result depend on besides.
    """
    return _digest([*parts_of(analysis, sound, versions, *on).items()])


def parts_of(analysis: Analysis[Any], sound: Sound, versions: Mapping[str, str], *on: Any) -> dict[str, str]:
    """Return a digest of each part of a key by its name; raises NotStorableError as `key_of` does."""
    try:
        parts = {
            "format": FORMAT, "core": _core(), "side": parameters(sound),
            "version": [type(analysis).id, type(analysis).version], "parameters": parameters(analysis),
            "taps": [parameters(tap) for tap in _taps(analysis)],
        }  # fmt: skip
        for package in _packages(analysis):
            parts[f"sources {package}"] = code_of(package)
            parts[f"distribution {package}"] = versions.get(package, "")
        if on:
            parts["on"] = [parameters(value) for value in on]
        return {name: _digest(part) for name, part in parts.items()}
    except NotStorableError:
        raise
    except Exception as error:  # a plugin's own code may raise anything
        raise NotStorableError(str(error)) from None


def look_at(analyses: Iterable[Analysis[Any]]) -> None:
    """Read the sources that some results depend on; they are read once."""
    for analysis in analyses:
        with contextlib.suppress(Exception):  # nothing is stored without them
            for package in _packages(analysis):
                code_of(package)


def parameters(value: Any) -> Any:
    """Return a need, a tap or a part of one as JSON can hold it: equal ones, and only they, are written alike."""
    if value is None or type(value) in {bool, int, str}:
        return value
    if type(value) is float:
        return ["float", value.hex()]
    if type(value) is tuple:
        return ["tuple", *map(parameters, value)]
    if is_dataclass(value) and not isinstance(value, type):
        kind = type(value)
        members = {field.name: parameters(getattr(value, field.name)) for field in fields(value)}
        return [f"{kind.__module__}:{kind.__qualname__}", members]
    raise NotStorableError(f"a parameter of type {type(value).__name__}")


def _taps(analysis: Analysis[Any]) -> list[Tap]:
    """Return the taps of an analysis with all taps below them, each once."""
    found: dict[Tap, None] = {}
    for first in analysis.taps():
        tap: Tap | None = first
        while tap is not None and tap not in found:
            found[tap] = None
            tap = tap.base()
    return list(found)


def _packages(analysis: Analysis[Any]) -> list[str]:
    """List the outermost packages that an analysis and its taps come from."""
    return sorted({package_of(type(need)) for need in (analysis, *_taps(analysis))})


def _digest(value: Any) -> str:
    text = json.dumps(value, sort_keys=True, separators=(",", ":"))
    return hashlib.blake2b(text.encode(), digest_size=32).hexdigest()


@cache
def code_of(package: str) -> str:
    """Return the digest of all sources of an outermost package or module; raises NotStorableError without any.

    Of the core it is that of the sources that measure.
    """
    if package == _OWN:
        return _core()
    module = sys.modules.get(package)
    folders = [Path(folder) for folder in getattr(module, "__path__", ())]
    found = [(path, folder) for folder in folders for path in sorted(folder.rglob("*.py"))]
    if not found and (own := getattr(module, "__file__", None)):
        found = [(Path(own), Path(own).parent)]
    if not 0 < len(found) <= MOST_FILES:
        raise NotStorableError(f"{package} has no sources that could be compared")
    return _sources(found)


@cache
def _core() -> str:
    """Return the digest of what measures: the version, the kernels with compilers and processor, and the pass."""
    root = Path(__file__).parents[1]
    own = _sources([(path, root) for path in core_sources()])
    return _digest([VERSION, digest_of_kernels(), own])


def core_sources() -> list[Path]:
    """List the sources of the core that results depend on besides the kernels and the groove, sorted."""
    root = Path(__file__).parents[1]
    return sorted({path for pattern in _CORE for path in root.glob(pattern)})


def _sources(paths: Iterable[tuple[Path, Path]]) -> str:
    """Hash sources, each with its path within a folder."""
    digest = hashlib.blake2b(digest_size=32)
    try:
        for path, folder in paths:
            text = path.read_bytes()
            digest.update(f"{path.relative_to(folder).as_posix()}\0{len(text)}\0".encode() + text)
    except OSError as error:
        raise NotStorableError(str(error)) from None
    return digest.hexdigest()


def result_of(need: type[Need[Any]]) -> Any:
    """Return the type of result that a class of Analysis[...] names; raises NotStorableError."""
    for base in (base for kind in need.__mro__ for base in vars(kind).get("__orig_bases__", ())):
        origin, inside = get_origin(base), get_args(base)
        named = isinstance(origin, type) and issubclass(origin, Need) and len(inside) == 1
        if named and not isinstance(inside[0], TypeVar | ForwardRef):
            return inside[0]
    raise NotStorableError(f"{need.__name__} does not name the type of its result")


def package_of(kind: type) -> str:
    """Return the outermost package that a class comes from."""
    return kind.__module__.partition(".")[0]
