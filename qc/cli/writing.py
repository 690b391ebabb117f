"""The places of reports: written beside their place and renamed, so that no half-written report is ever found."""

from __future__ import annotations

import errno
import io
import os
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO, TypeVar

from qc.cli.streams import emit, say
from qc.cli.terminal import colour, width
from qc.files.atomic_write import not_ours, put_file, put_folder
from qc.model.errors import FAULTS, PluginError, SidegateError, UsageError
from qc.plugin_api import Evidence, FolderRenderer, Model, Renderer, Report
from qc.report import registry
from qc.report.registry import ReportFormat
from qc.text.sanitize import exception_line, shown
from qc.text.suggest import nearest

if TYPE_CHECKING:
    from qc.plugin_host.host import Host
    from qc.plugin_host.runner import Runner

R = TypeVar("R")

FULL = {errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EIO}


@dataclass(frozen=True)
class Output:
    """One report to write; no path means stdout."""

    renderer: Renderer
    path: Path | None
    """with links resolved, so that a place has one name"""
    place: str
    """as it was requested"""
    runner: Runner
    """calls the code of the format"""


def _built(kind: type[Renderer], path: Path | None) -> Renderer:
    return kind.for_path(path)


def outputs(
    asked: Sequence[str],
    host: Host,
    build: Callable[[type[Renderer], Path | None], Renderer] = _built,
) -> list[Output]:
    """Read FORMAT=PATH words; raises UsageError for an unknown format or a place that cannot be written.

    `build` makes the renderer of a format for its place; formats come from the core and from the plugins of `host`.
    """
    found = []
    for place in places(asked, registry.with_plugins(host.renderers)):
        path = None if place.path is None else Path(place.place)
        renderer = _unbroken(partial(build, place.format.load(), path), place.format.name, host.runner)
        found.append(Output(renderer, place.path, place.place, host.runner))
    return found


@dataclass(frozen=True)
class OutputTarget:
    """A format and where it goes; no path means stdout."""

    format: ReportFormat
    path: Path | None
    """with links resolved, so that a place has one name"""
    place: str
    """as it was requested"""


def places(asked: Sequence[str], formats: Mapping[str, ReportFormat]) -> list[OutputTarget]:
    """Read FORMAT=PATH words; raises UsageError for an unknown format or a place that cannot be written.

    `formats` are those that can be written, by name.
    """
    found: list[OutputTarget] = []
    for word in asked:
        name, equals, place = word.partition("=")
        if not equals or not place:
            raise UsageError(f'--out {shown(word)}: write it as FORMAT=PATH, for example "json=report.json"')
        if name not in formats:
            near = nearest(name, formats)
            hint = f'; did you mean "{near}"?' if near else f"; there are {', '.join(sorted(formats))}"
            raise UsageError(f'--out {shown(word)}: there is no format "{shown(name)}"{hint}')
        output = OutputTarget(formats[name], None if place == "-" else Path(os.path.realpath(place)), place)
        if fault := _taken(output, found) or _not_writable(output):
            raise UsageError(f"--out {shown(word)}: {fault}")
        found.append(output)
    return found


def _unbroken(call: Callable[[], R], name: str, runner: Runner) -> R:
    """Call into a format and return its result; raises PluginError where it raises anything, or does not end.

    A UsageError of its own passes as it is, and so does an OSError of a full disk, which is no fault of the format.
    """
    try:
        return runner(call)
    except UsageError:
        raise
    except FAULTS as error:
        if isinstance(error, OSError) and error.errno in FULL:
            raise
        raise PluginError(f'the format "{name}" broke: {exception_line(error)}; nothing was written') from None


def _taken(output: OutputTarget, others: Sequence[OutputTarget]) -> str:
    """Return the fault of two reports at one place; empty where each has its own."""
    if output.path in [other.path for other in others]:
        return f"{shown(output.place)} is named twice; give each report its own place"
    for other in others:
        inner, outer = (output, other) if other.format.folder else (other, output)
        if outer.format.folder and inner.path is not None and outer.path in inner.path.parents:
            where = f"the folder {shown(outer.place)}, which {outer.format.name} writes whole"
            return f"{shown(inner.place)} lies in {where}"
    return ""


def _not_writable(output: OutputTarget) -> str:
    """Return why a place cannot be written, before the audio is read; empty when it can."""
    path, place, as_folder = output.path, Path(output.place), output.format.folder
    if path is None:
        return f"{output.format.name} writes a folder of files; name one" if as_folder else ""
    name, parent, folder = shown(str(place)), shown(str(place.parent)), path.parent
    faults: tuple[tuple[Callable[[], bool], str], ...] = (
        (path.is_symlink, f"{name} is a link that leads to itself; name another place"),
        (lambda: path.is_dir() and not as_folder, f"{name} is a folder; name the file to write"),
        (lambda: not folder.is_dir(), f"there is no folder {parent}; make it first"),
        (
            lambda: path.exists() and not path.is_file() and not as_folder,
            f"{name} is not a plain file; name another place",
        ),
        (
            lambda: path.exists() and not path.is_dir() and as_folder,
            f"{name} is not a folder; name the folder to write",
        ),
        (lambda: not os.access(folder, os.W_OK), f"the folder {parent} may not be written; name another place"),
    )
    try:
        fault = next((sentence for holds, sentence in faults if holds()), "")
        foreign = not_ours(path) if as_folder and not fault else ""
    except OSError as error:
        return f"{name} cannot be written ({error.strerror}); name another place"
    return fault or (f"{name} cannot be written: {foreign}" if foreign else "")


def refuse_sources(wanted: Sequence[Output | OutputTarget], sources: Sequence[Path]) -> None:
    """Refuse to write a report over the delivery, its audio or its ruleset."""
    real = {Path(os.path.realpath(source)) for source in sources}
    for output in wanted:
        if output.path in real:
            raise UsageError(f"--out: {shown(output.place)} belongs to the delivery; write the report elsewhere")


def write(output: Output, report: Report, evidence: Evidence) -> None:
    """Write one report.

    What the format remarks goes to stderr once the report is there. Raises PluginError when its format breaks,
    UsageError when it cannot use what it was given, OutputError when the place cannot be written; nothing is left half
    written.
    """
    renderer, path = output.renderer, output.path

    def into(call: Callable[[Any, Any, Any], None], place: BinaryIO | Path) -> None:
        _unbroken(partial(call, report, evidence, place), renderer.name, output.runner)

    if path is None:
        held = io.BytesIO()
        into(renderer.render, held)
        emit(held.getvalue())
    elif isinstance(renderer, FolderRenderer):
        put_folder(path, partial(into, renderer.fill), output.place)
    else:
        put_file(path, partial(into, renderer.render), output.place)
    if remark := _unbroken(lambda: str(renderer.remark), renderer.name, output.runner):
        say(remark)


def write_result(output: OutputTarget, command: registry.Command, result: Model, *, ascii_only: bool) -> None:
    """Write the result of `plan` or `rulesets` in its format, as wide as the place shows; raises SidegateError."""
    layout = {"width": width(), "colour": colour()} if output.path is None else {}
    content = output.format.writer(command)(result, ascii_only=ascii_only, **layout)
    if output.path is None:
        emit(content)
    else:
        put_file(output.path, content, output.place)


def attempted(writing: Callable[[], None]) -> int:
    """Write one report and return the exit code; one that cannot be written does not keep the others from it."""
    try:
        writing()
    except SidegateError as error:
        say(str(error))
        return error.exit_code
    return 0
