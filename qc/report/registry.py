"""The report formats, one line each: the command line, its help and completion, the API and the plugin host read this.

To add a format, write a module with a class made from `qc.plugin_base.Renderer` and add its line to `FORMATS`. A module
is imported when a report is written in its format, never before, so that the command starts quickly.
"""

from __future__ import annotations

import importlib
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any, Literal, NamedTuple

if TYPE_CHECKING:
    from qc.plugin_base import Renderer

Command = Literal["check", "plan", "rulesets", "where"]
"""Commands with `--out FORMAT=PATH`."""


class ReportFormat(NamedTuple):
    """A format: its name on the command line, and its facts before its module is imported."""

    name: str
    endings: tuple[str, ...]
    """of the files it writes, the usual one first"""
    about: str
    """a few words for the help"""
    content: Literal["text", "binary", "folder"]
    """"binary" if a file with one of its endings is not text"""
    renderer: str | type[Renderer]
    """the class that writes a report, as MODULE:NAME; for the format of a plugin the class itself; empty where the
    format is for another command only"""
    extra: str = ""
    """the ending of files that it writes only with optional dependencies, which have the same name, as "png" """
    plan: str = ""
    """the function that writes a plan, as MODULE:NAME; empty where the format is for reports only"""
    rulesets: str = ""
    """the function that writes a comparison of rulesets, as MODULE:NAME"""
    where: str = ""
    """the function that writes a place on a side, as MODULE:NAME"""

    @property
    def folder(self) -> bool:
        """Whether it writes a folder of files."""
        return self.content == "folder"

    @property
    def install(self) -> str:
        """The command that installs the format's optional dependencies."""
        return f"pip install 'sidegate[{self.extra}]'"

    def load(self) -> type[Renderer]:
        """Import the class that writes a report."""
        return _imported(self.renderer) if isinstance(self.renderer, str) else self.renderer

    def writer(self, command: Command) -> Callable[..., bytes]:
        """Import the function that writes the result of `plan`, `rulesets` or `where`."""
        return _imported({"plan": self.plan, "rulesets": self.rulesets, "where": self.where}[command])


FORMATS: tuple[ReportFormat, ...] = (
    ReportFormat(
        "text", (".txt",), "the report for a person at a terminal", "text", "qc.report.text.report:Text",
        plan="qc.report.text.plan:plan_text", rulesets="qc.report.text.ruleset_diff:ruleset_diff_text",
        where="qc.report.text.where:where_text",
    ),
    ReportFormat(
        "json", (".json",), "everything that was measured and found, for programmes", "text", "qc.report.json:Json",
        plan="qc.report.json:json_bytes", rulesets="qc.report.json:json_bytes", where="qc.report.json:where_json",
    ),
    ReportFormat(
        "html", (".html", ".htm"), "one page with pictures and curves to look into", "text",
        "qc.report.html.renderer:Html",
    ),
    ReportFormat(
        "sheet", (".md", ".html", ".htm"), "the cutting sheet, one page a side", "text",
        "qc.report.sheet.renderer:Sheet",
    ),
    ReportFormat(
        "note", (".md", ".html", ".htm"), "a letter to the client", "text", "qc.report.note.renderer:Note"
    ),
    ReportFormat("junit", (".xml",), "test results for build servers", "text", "qc.report.junit:JUnit"),
    ReportFormat(
        "sarif", (".sarif", ".sarif.json"), "SARIF 2.1.0 for code-scanning services and editors", "text",
        "qc.report.sarif.renderer:Sarif",
    ),
    ReportFormat(
        "traces", (".csv", ".parquet"), "every sector of 1/75 s in numbers", "binary",
        "qc.report.traces.renderer:Traces", extra="parquet",
    ),
    ReportFormat(
        "pictures", (), "every picture as SVG and PNG", "folder", "qc.report.figures.renderer:Pictures", extra="png"
    ),
)  # fmt: skip
"""The core's own formats, in the order of help and completion: those first that most people ask for."""

PLACE_PICTURES: tuple[ReportFormat, ...] = (
    ReportFormat(
        "svg", (".svg",), "the groove at the place, as SVG", "text", "", where="qc.report.figures.where:where_svg"
    ),
    ReportFormat(
        "png", (".png",), "the groove at the place, as PNG", "binary", "", extra="png",
        where="qc.report.figures.where:where_png",
    ),
)  # fmt: skip
"""The formats of `where` alone."""


def formats(command: Command = "check") -> dict[str, ReportFormat]:
    """Return the core's formats that a command can write, by name."""
    attribute = "renderer" if command == "check" else command
    return {format_.name: format_ for format_ in (*FORMATS, *PLACE_PICTURES) if getattr(format_, attribute)}


def with_plugins(renderers: Mapping[str, type[Renderer]]) -> dict[str, ReportFormat]:
    """Return the core's formats and those of plugins (name -> class) by name."""
    return formats() | {name: _of_plugin(kind) for name, kind in renderers.items()}


def choices(command: Command = "check") -> str:
    """List the formats of a command for the help of `--out`: "text, json, ... pictures into a folder"."""
    return ", ".join(f"{name} into a folder" if format_.folder else name for name, format_ in formats(command).items())


def described(command: Command = "check") -> str:
    """Describe each format of a command on a line, with its endings and what may have to be installed for it."""
    found = formats(command).values()
    widest = max(len(format_.name) for format_ in found)
    lines = []
    for format_ in found:
        where = "a folder" if format_.folder else ", ".join(format_.endings)
        needs = f"; .{format_.extra} needs {format_.install}" if format_.extra else ""
        lines.append(f"  {format_.name:<{widest}}  {format_.about} ({where}{needs})")
    return "\n".join(lines)


def _of_plugin(kind: type[Renderer]) -> ReportFormat:
    about = (kind.__doc__ or "").strip().partition("\n")[0]
    return ReportFormat(kind.name, tuple(kind.suffixes), about, "folder" if kind.folder else "text", kind)


def _imported(place: str) -> Any:
    module, _, name = place.partition(":")
    return getattr(importlib.import_module(module), name)
