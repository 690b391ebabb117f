"""Reading `--out FORMAT=PATH`, and writing reports whole or not at all."""

from __future__ import annotations

import io
import os
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from qc.cli.streams import emit, say
from qc.cli.terminal import colour, width
from qc.files.atomic_write import not_ours, put_file
from qc.model.errors import SidegateError, UsageError
from qc.model.report import PluginFailure
from qc.plugin_base import Evidence, Model, Renderer, Report
from qc.report import registry
from qc.report.registry import ReportFormat
from qc.report.writing import CORE, FormatCalls, FormatFailedError
from qc.ruleset.choose import needed_without
from qc.text.sanitize import shown
from qc.text.suggest import nearest

if TYPE_CHECKING:
    from qc.model.where import WhereFound
    from qc.plugin_host.host import Host
    from qc.plugin_host.runner import Runner


@dataclass(frozen=True)
class Output:
    """A report to write; `path` is None for stdout."""

    renderer: Renderer
    path: Path | None
    """with links resolved, so that equal places compare equal"""
    place: str
    """as it was requested"""
    runner: Runner
    """calls the renderer, with a time-out"""
    owner: str = CORE
    """name of the plugin of the format"""


class Outputs(NamedTuple):
    """The reports to write, and a failure of a plugin for each that cannot be written."""

    reports: list[Output]
    failures: list[PluginFailure]


def _built(kind: type[Renderer], path: Path | None) -> Renderer:
    return kind.for_path(path)


def outputs(
    words: Sequence[str],
    host: Host,
    build: Callable[[type[Renderer], Path | None], Renderer] = _built,
) -> Outputs:
    """Read FORMAT=PATH words; raises UsageError for an unknown format or a place that cannot be written.

    `build` makes the renderer of a format for its place; formats come from the core and from the plugins of `host`. A
    format that may be of a plugin that did not load is a failure of that plugin, and so is one that breaks here.
    """
    formats = registry.with_plugins(host.renderers)
    there, failures = _without_missing(words, formats, host)
    result = []
    for place in places(there, formats):
        path, name = None if place.path is None else Path(place.place), place.format.name
        owner = host.renderer_owner.get(name, CORE)
        try:
            renderer = FormatCalls(name, owner, host.runner)(partial(build, place.format.load(), path))
        except FormatFailedError as error:
            failures.append(error.failure)
        else:
            result.append(Output(renderer, place.path, place.place, host.runner, owner))
    return Outputs(result, failures)


def _without_missing(
    words: Sequence[str], formats: Mapping[str, ReportFormat], host: Host
) -> tuple[list[str], list[PluginFailure]]:  # fmt: skip
    """Return the words without those of formats that a plugin may have that did not load, and its failures.

    Raises UsageError where a plugin that is switched off may have the format.
    """
    there, failures = [], list[PluginFailure]()
    for word in words:
        name, equals, place = word.partition("=")
        missing = equals and place and name not in formats
        suspects = [plugin for plugin in host.left_out if plugin.may_answer("qc_renderers")] if missing else []
        for plugin in host.without if missing else ():
            if plugin.may_answer("qc_renderers"):
                raise needed_without(plugin.name, f'the format "{shown(name)}" may be of this plugin')
        if not suspects:
            there.append(word)
        message = (
            f'the format "{shown(name)}" is not there, and may be one of this plugin, which did not load; nothing was '
            f"written to {shown(place)}"
        )
        failures += [PluginFailure(plugin=plugin.name, stage="qc_renderers", message=message) for plugin in suspects]
    return there, failures


@dataclass(frozen=True)
class OutputTarget:
    """A format and its path, None for stdout."""

    format: ReportFormat
    path: Path | None
    """with links resolved, so that equal places compare equal"""
    place: str
    """as it was requested"""


def places(words: Sequence[str], formats: Mapping[str, ReportFormat]) -> list[OutputTarget]:
    """Read FORMAT=PATH words; raises UsageError for an unknown format or a place that cannot be written.

    `formats` are those that can be written, by name.
    """
    targets: list[OutputTarget] = []
    for word in words:
        name, equals, place = word.partition("=")
        if not equals or not place:
            raise UsageError(f'--out {shown(word)}: write it as FORMAT=PATH, for example "json=report.json"')
        if name not in formats:
            near = nearest(name, formats)
            hint = f'; did you mean "{near}"?' if near else f"; there are {', '.join(sorted(formats))}"
            raise UsageError(f'--out {shown(word)}: there is no format "{shown(name)}"{hint}')
        output = OutputTarget(formats[name], None if place == "-" else Path(os.path.realpath(place)), place)
        if fault := _taken(output, targets) or _not_writable(output):
            raise UsageError(f"--out {shown(word)}: {fault}")
        targets.append(output)
    return targets


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


def refuse_sources(targets: Sequence[Output | OutputTarget], sources: Sequence[Path]) -> None:
    """Refuse to write a report over the delivery, its audio or its ruleset."""
    real = {Path(os.path.realpath(source)) for source in sources}
    for output in targets:
        if output.path in real:
            raise UsageError(f"--out: {shown(output.place)} belongs to the delivery; write the report elsewhere")


def write(output: Output, report: Report, evidence: Evidence) -> None:
    """Write one report.

    The remark of the format goes to stderr once the report is written. Raises FormatFailedError if the format fails,
    UsageError if it cannot use its input, OutputError if the place cannot be written; nothing is left half written.
    """
    calls = FormatCalls(output.renderer.name, output.owner, output.runner)
    if output.path is None:
        content = io.BytesIO()
        calls.write(output.renderer, report, evidence, content, output.place)
        emit(content.getvalue())
    else:
        calls.write(output.renderer, report, evidence, output.path, output.place)
    if remark := calls.remark(output.renderer):
        say(remark)


def write_results(
    targets: Sequence[OutputTarget], command: registry.Command, result: Model | WhereFound, *, ascii_only: bool
) -> int:  # fmt: skip
    """Write the result of `plan`, `rulesets` or `where` in every requested format; return the highest exit code."""
    writes = [partial(_write_result, target, command, result, ascii_only=ascii_only) for target in targets]
    return max(map(attempted, writes), default=0)


def _write_result(
    output: OutputTarget, command: registry.Command, result: Model | WhereFound, *, ascii_only: bool
) -> None:  # fmt: skip
    """Write a result in one format; raises SidegateError."""
    layout = {"width": width(), "colour": colour()} if output.path is None else {}
    content = output.format.writer(command)(result, ascii_only=ascii_only, **layout)
    if output.path is None:
        emit(content)
    else:
        put_file(output.path, content, output.place)


def attempted(writing: Callable[[], None]) -> int:
    """Write a report and return its exit code, so that the others are written even if this one cannot be.

    Raises FormatFailedError where the format itself failed, which the other reports can state.
    """
    try:
        writing()
    except FormatFailedError:
        raise
    except SidegateError as error:
        say(str(error))
        return error.exit_code
    return 0
