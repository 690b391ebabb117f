"""Where reports go: written beside their place and renamed, so that nobody ever finds half a report."""

from __future__ import annotations

import errno
import importlib
import io
import os
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any, BinaryIO, TypeVar

from qc.cli.streams import emit, say
from qc.cli.terminal import colour, width
from qc.files.atomic_write import not_ours, put, put_file, put_folder
from qc.model.errors import FAULTS, PluginError, SidegateError, UsageError
from qc.plugin_api import Evidence, FolderRenderer, Model, Renderer, Report
from qc.plugin_host.time_out import PATIENCE_S, Patient
from qc.report.json import written
from qc.text.sanitize import shown, told
from qc.text.suggest import nearest

R = TypeVar("R")
M = TypeVar("M", bound=Model)

CORE = {
    "html": "qc.report.html.renderer:Html",
    "json": "qc.report.json:Json",
    "junit": "qc.report.junit:JUnit",
    "note": "qc.report.note.renderer:Note",
    "pictures": "qc.report.figures.renderer:Pictures",
    "sarif": "qc.report.sarif.renderer:Sarif",
    "sheet": "qc.report.sheet.renderer:Sheet",
    "text": "qc.report.text.report:Text",
    "traces": "qc.report.traces.renderer:Traces",
}
"""Our own formats by name, each imported when a report is asked for in it."""
CORE_FOLDERS = ("pictures",)
"""Those of them that fill a folder."""
FULL = {errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EIO}


@dataclass(frozen=True)
class Output:
    """One report to write; no path means stdout."""

    renderer: Renderer
    path: Path | None
    """with links resolved, so that a place has one name"""
    place: str
    """as it was asked for"""


def _built(kind: type[Renderer], path: Path | None) -> Renderer:
    return kind.for_path(path)


def outputs(
    asked: Sequence[str],
    more: Mapping[str, type[Renderer]],
    build: Callable[[type[Renderer], Path | None], Renderer] = _built,
    patience: float = PATIENCE_S,
) -> list[Output]:
    """Read FORMAT=PATH words; raises UsageError for an unknown format or a place that cannot be written.

    `build` makes the renderer of a format for its place, and may take as long as `patience`, s.
    """
    folders = [*CORE_FOLDERS, *(name for name, kind in more.items() if kind.folder)]
    found = []
    for one in places(asked, [*CORE, *more], folders):
        path = None if one.path is None else Path(one.place)
        kind = more.get(one.format) or format_of(one.format)
        renderer = _unbroken(partial(build, kind, path), one.format, patience)
        found.append(Output(renderer, one.path, one.place))
    return found


def format_of(name: str) -> type[Renderer]:
    """Import one of our own formats."""
    module, _, inside = CORE[name].partition(":")
    kind: type[Renderer] = getattr(importlib.import_module(module), inside)
    return kind


@dataclass(frozen=True)
class OutputTarget:
    """A format and where it goes; no path means stdout."""

    format: str
    path: Path | None
    """with links resolved, so that a place has one name"""
    place: str
    """as it was asked for"""
    folder: bool = False
    """whether it is a folder of files"""


def places(asked: Sequence[str], known: Collection[str], folders: Collection[str] = ()) -> list[OutputTarget]:
    """Read FORMAT=PATH words; raises UsageError for an unknown format or a place that cannot be written.

    `folders` are the formats whose place is a folder.
    """
    found: list[OutputTarget] = []
    for word in asked:
        name, equals, place = word.partition("=")
        if not equals or not place:
            raise UsageError(f'--out {shown(word)}: write it as FORMAT=PATH, for example "json=report.json"')
        if name not in known:
            near = nearest(name, known)
            hint = f'; did you mean "{near}"?' if near else f"; there are {', '.join(sorted(known))}"
            raise UsageError(f'--out {shown(word)}: there is no format "{shown(name)}"{hint}')
        one = OutputTarget(name, None if place == "-" else Path(os.path.realpath(place)), place, folder=name in folders)
        if fault := _taken(one, found) or _not_writable(one):
            raise UsageError(f"--out {shown(word)}: {fault}")
        found.append(one)
    return found


def _unbroken(call: Callable[[], R], name: str, patience: float) -> R:
    """Give what a format gives; raises PluginError where it raises anything, or does not end.

    What it cannot use is told as it is, and a disk that is full is no fault of its own.
    """
    try:
        with Patient(patience) as ask:
            return ask(call)
    except UsageError:
        raise
    except FAULTS as error:
        if isinstance(error, OSError) and error.errno in FULL:
            raise
        raise PluginError(f'the format "{name}" broke: {told(error)}; nothing was written') from None


def _taken(one: OutputTarget, others: Sequence[OutputTarget]) -> str:
    """Say what of two reports at one place; empty where each has its own."""
    if one.path in [other.path for other in others]:
        return f"{shown(one.place)} is asked for twice; give each report its own place"
    for other in others:
        inner, outer = (one, other) if other.folder else (other, one)
        if outer.folder and inner.path is not None and outer.path in inner.path.parents:
            return f"{shown(inner.place)} lies in the folder {shown(outer.place)}, which {outer.format} writes whole"
    return ""


def _not_writable(one: OutputTarget) -> str:
    """Say why a place cannot be written, before the audio is heard; empty when it can."""
    path, place = one.path, Path(one.place)
    if path is None:
        return f"{one.format} writes a folder of files; name one" if one.folder else ""
    name, parent, folder = shown(str(place)), shown(str(place.parent)), path.parent
    faults: tuple[tuple[Callable[[], bool], str], ...] = (
        (path.is_symlink, f"{name} is a link that leads to itself; name another place"),
        (lambda: path.is_dir() and not one.folder, f"{name} is a folder; name the file to write"),
        (lambda: not folder.is_dir(), f"there is no folder {parent}; make it first"),
        (
            lambda: path.exists() and not path.is_file() and not one.folder,
            f"{name} is not a plain file; name another place",
        ),
        (
            lambda: path.exists() and not path.is_dir() and one.folder,
            f"{name} is not a folder; name the folder to write",
        ),
        (lambda: not os.access(folder, os.W_OK), f"the folder {parent} may not be written; name another place"),
    )
    try:
        fault = next((sentence for holds, sentence in faults if holds()), "")
        foreign = "" if fault or not one.folder else not_ours(path)
    except OSError as error:
        return f"{name} cannot be written ({error.strerror}); name another place"
    return fault or (f"{name} cannot be written: {foreign}" if foreign else "")


def refuse_sources(wanted: Sequence[Output | OutputTarget], sources: Sequence[Path]) -> None:
    """Refuse to write a report over the delivery, its audio or its ruleset."""
    real = {Path(os.path.realpath(source)) for source in sources}
    for output in wanted:
        if output.path in real:
            raise UsageError(f"--out: {shown(output.place)} belongs to the delivery; write the report elsewhere")


def write(output: Output, report: Report, evidence: Evidence, patience: float = PATIENCE_S) -> None:
    """Write one report.

    What the format remarks goes to stderr once the report is there. Raises PluginError when its format breaks,
    UsageError when it cannot use what it was given, OutputError when the place cannot be written; nothing is left half
    written.
    """
    renderer, path = output.renderer, output.path

    def into(call: Callable[[Any, Any, Any], None], place: BinaryIO | Path) -> None:
        _unbroken(partial(call, report, evidence, place), renderer.name, patience)

    if path is None:
        held = io.BytesIO()
        into(renderer.render, held)
        emit(held.getvalue())
    elif isinstance(renderer, FolderRenderer):
        put_folder(path, partial(into, renderer.fill), output.place)
    else:
        put_file(path, partial(into, renderer.render), output.place)
    if remark := _unbroken(lambda: str(renderer.remark), renderer.name, patience):
        say(remark)


def give(held: bytes, to: Output | OutputTarget) -> None:
    """Write what was asked for to its file, or to stdout; raises OutputError when it cannot be written."""
    if to.path is None:
        emit(held)
    else:
        put(to.path, held, to.place)


def as_asked(to: OutputTarget, model: M, as_text: Callable[..., bytes], *, ascii_only: bool) -> None:
    """Write a model as JSON, or as the text that `as_text` makes of it, as wide as its place; raises SidegateError."""
    if to.format == "json":
        held = written(model)
    elif to.path is None:
        held = as_text(model, width=width(), colour=colour(), ascii_only=ascii_only)
    else:
        held = as_text(model, ascii_only=ascii_only)
    give(held, to)


def attempted(write_one: Callable[[], None]) -> int:
    """Write one report and give the exit code; one that cannot be written does not keep the others from it."""
    try:
        write_one()
    except SidegateError as error:
        say(str(error))
        return error.exit_code
    return 0
