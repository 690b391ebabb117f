"""File and line of plugin code: where an error was raised, where a call hangs, where a class or function is defined."""

from __future__ import annotations

import contextlib
import inspect
import sys
import types
from collections.abc import Callable, Iterable, Iterator
from functools import partial
from pathlib import PurePath
from typing import Any

from qc.text.sanitize import shown

TOOL = {"qc", "importlib", "pluggy", "threading", "builtins", "abc", "functools", "dataclasses", "numpy", "pydantic"}
"""Outermost packages of code that calls a plugin or that plugins are made of."""
Place = tuple[types.FrameType, int]
"""A frame and the line that it has reached."""


def place_of_error(error: BaseException) -> str:
    """Return "FILE:LINE" of the innermost line of a plugin in the traceback of an error; empty without any."""
    found = _innermost(_of_traceback(error.__traceback__))
    if not found and isinstance(error, SyntaxError) and error.filename:
        return f"{PurePath(error.filename).name}:{error.lineno}"
    return found


def place_of_thread(ident: int | None) -> str:
    """Return "FILE:LINE" of the innermost line of a plugin that a thread has reached; empty without any."""
    frame = sys._current_frames().get(ident or 0)  # noqa: SLF001 - the only way to the frames of another thread
    return _innermost(reversed([*_outwards(frame)]))


def place_of_call(function: Callable[..., Any], args: Iterable[Any] = ()) -> str:
    """Return "FILE:LINE" at which the plugin code of a call is defined; empty where it is none of a plugin's."""
    while isinstance(function, partial):
        args, function = (*function.args, *args), function.func
    found = (place_of(subject) for subject in (function, getattr(function, "__self__", None), *args))
    return next((place for place in found if place), "")


def place_of(subject: object) -> str:
    """Return "FILE:LINE" at which a class, a function or the class of an object is defined; empty for the tool's."""
    code = getattr(inspect.unwrap(subject), "__code__", None) if inspect.isroutine(subject) else None
    if isinstance(code, types.CodeType):
        return _shown(str(subject.__module__), code.co_filename, code.co_firstlineno)
    kind = subject if isinstance(subject, type) else type(subject)
    with contextlib.suppress(Exception):
        return _shown(kind.__module__, inspect.getsourcefile(kind) or "", inspect.getsourcelines(kind)[1])
    functions = [value for value in vars(kind).values() if inspect.isfunction(value)]
    return place_of(functions[0]) if functions else ""


def _innermost(places: Iterable[Place]) -> str:
    """Return the last place in the package of the first place that is no part of the tool."""
    package, found = "", ""
    for frame, line in places:
        module = str(frame.f_globals.get("__name__", ""))
        outermost = module.partition(".")[0]
        if outermost == (package or outermost) and (shown_place := _shown(module, frame.f_code.co_filename, line)):
            package, found = outermost, shown_place
    return found


def _of_traceback(traceback: types.TracebackType | None) -> Iterator[Place]:
    while traceback is not None:
        yield traceback.tb_frame, traceback.tb_lineno
        traceback = traceback.tb_next


def _outwards(frame: types.FrameType | None) -> Iterator[Place]:
    while frame is not None:
        yield frame, frame.f_lineno
        frame = frame.f_back


def _shown(module: str, file: str, line: int) -> str:
    """Return "package/module.py:12", the path from the outermost package on; empty for code of the tool or no file."""
    if module.partition(".")[0] in TOOL or not file or file.startswith("<"):
        return ""
    path = PurePath(file)
    depth = module.count(".") + (2 if path.name == "__init__.py" else 1)
    return shown(f"{'/'.join(path.parts[-depth:])}:{max(line, 1)}", 200)
