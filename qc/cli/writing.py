"""Where reports go: written beside their place and renamed, so that nobody ever finds half a report."""

from __future__ import annotations

import contextlib
import errno
import io
import os
import tempfile
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from qc.cli.main import emit, say
from qc.contract import Evidence, Renderer, Report
from qc.errors import FAULTS, OutputError, PluginError, SidegateError, UsageError
from qc.nearest import nearest
from qc.report.html.renderer import Html
from qc.report.json import Json
from qc.report.sheet import Sheet
from qc.report.text import Text
from qc.wording import shown, told

CORE: dict[str, type[Renderer]] = {"html": Html, "json": Json, "sheet": Sheet, "text": Text}


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
) -> list[Output]:
    """Read FORMAT=PATH words; raises UsageError for an unknown format or a place that cannot be written.

    `build` makes the renderer of a format for its place.
    """
    known = CORE | dict(more)
    return [
        Output(_renderer(build, known[one.format], None if one.path is None else Path(one.place)), one.path, one.place)
        for one in places(asked, known)
    ]


@dataclass(frozen=True)
class Place:
    """A format and where it goes; no path means stdout."""

    format: str
    path: Path | None
    """with links resolved, so that a place has one name"""
    place: str
    """as it was asked for"""


def places(asked: Sequence[str], known: Collection[str]) -> list[Place]:
    """Read FORMAT=PATH words; raises UsageError for an unknown format or a place that cannot be written."""
    found: list[Place] = []
    for word in asked:
        name, equals, place = word.partition("=")
        if not equals or not place:
            raise UsageError(f'--out {shown(word)}: write it as FORMAT=PATH, for example "json=report.json"')
        if name not in known:
            near = nearest(name, known)
            hint = f'; did you mean "{near}"?' if near else f"; there are {', '.join(sorted(known))}"
            raise UsageError(f'--out {shown(word)}: there is no format "{shown(name)}"{hint}')
        path = None if place == "-" else Path(os.path.realpath(place))
        if path in [one.path for one in found]:
            why = f"{shown(place)} is asked for twice; give each report its own place"
            raise UsageError(f"--out {shown(word)}: {why}")
        if path is not None and (fault := _not_writable(Path(place), path)):
            raise UsageError(f"--out {shown(word)}: {fault}")
        found.append(Place(name, path, place))
    return found


def _renderer(
    build: Callable[[type[Renderer], Path | None], Renderer], kind: type[Renderer], path: Path | None
) -> Renderer:
    try:
        return build(kind, path)
    except Exception as error:  # a plugin's format may raise anything
        raise PluginError(f'the format "{kind.name}" broke: {told(error)}; nothing was written') from None


def _not_writable(place: Path, path: Path) -> str:
    """Say why a place cannot be written, before the audio is heard; empty when it can."""
    name, parent, folder = shown(str(place)), shown(str(place.parent)), path.parent
    faults: tuple[tuple[Callable[[], bool], str], ...] = (
        (path.is_symlink, f"{name} is a link that leads to itself; name another place"),
        (path.is_dir, f"{name} is a folder; name the file to write"),
        (lambda: not folder.is_dir(), f"there is no folder {parent}; make it first"),
        (lambda: path.exists() and not path.is_file(), f"{name} is not a plain file; name another place"),
        (lambda: not os.access(folder, os.W_OK), f"the folder {parent} may not be written; name another place"),
    )
    try:
        return next((sentence for holds, sentence in faults if holds()), "")
    except OSError as error:
        return f"{name} cannot be written ({error.strerror}); name another place"


def refuse_sources(wanted: Sequence[Output | Place], sources: Sequence[Path]) -> None:
    """Refuse to write a report over the delivery, its audio or its ruleset."""
    real = {Path(os.path.realpath(source)) for source in sources}
    for output in wanted:
        if output.path in real:
            raise UsageError(f"--out: {shown(output.place)} belongs to the delivery; write the report elsewhere")


def write(output: Output, report: Report, evidence: Evidence) -> None:
    """Write one report; raises PluginError when its format breaks, OutputError when the place cannot be written."""
    held = io.BytesIO()
    try:
        output.renderer.render(report, evidence, held)
    except FAULTS as error:  # a plugin's format may raise anything
        raise PluginError(f'the format "{output.renderer.name}" broke: {told(error)}; nothing was written') from None
    give(held.getvalue(), output)


def give(held: bytes, to: Output | Place) -> None:
    """Write what was asked for to its file, or to stdout; raises OutputError when it cannot be written."""
    if to.path is None:
        emit(held)
    else:
        put(to.path, held, to.place)


def put(path: Path, held: bytes, place: str, *, fresh: bool = False) -> None:
    """Write beside a place and rename; with `fresh` nothing is written over. Raises OutputError naming `place`."""
    beside = ""
    try:
        handle, beside = tempfile.mkstemp(dir=path.parent, prefix=".sidegate-")
        with os.fdopen(handle, "wb") as out:
            out.write(held)
        Path(beside).chmod(0o666 & ~_umask())
        if fresh and os.path.lexists(path):
            raise FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST))
        Path(beside).replace(path)
    except OSError as error:
        raise OutputError(f"{place} cannot be written: {error.strerror}; name another place") from None
    finally:
        with contextlib.suppress(OSError):
            if beside:
                Path(beside).unlink(missing_ok=True)


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


def attempted(write_one: Callable[[], None]) -> int:
    """Write one report and give the exit code; one that cannot be written does not keep the others from it."""
    try:
        write_one()
    except SidegateError as error:
        say(str(error))
        return error.exit_code
    return 0
