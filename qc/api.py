"""One function for each command, called by the command line and by Python programs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO

from qc.delivery.reader import ReadDelivery
from qc.judge.bind import Bound
from qc.judge.engine import exit_code
from qc.judge.prepare import Options, of_groove, units
from qc.judge.session import CORE
from qc.model.errors import DeliveryError, PluginError, UsageError
from qc.plugin_base import Evidence, Report
from qc.plugin_host.host import Host
from qc.report.registry import with_plugins
from qc.report.writing import CORE as TOOL
from qc.report.writing import FormatCalls
from qc.ruleset.choose import choose
from qc.ruleset.find import Available, available
from qc.ruleset.library import Shelf
from qc.run.check import Checked, run_check
from qc.run.options import PlanOptions
from qc.run.plugins import FORMATS, build_host, host_of, read_any, words
from qc.text.sanitize import shown
from qc.text.suggest import meant

if TYPE_CHECKING:
    from qc.demo.planted import Planted
    from qc.judge.approve import ApprovalDecision, ApproveRequest
    from qc.listen.rendering import ListenFiles
    from qc.listen.request import ListenRequest
    from qc.model.plan import PlanReport
    from qc.model.ruleset_diff import RulesetDiff
    from qc.model.where import WhereFound
    from qc.where.request import WhereRequest


def check(
    path: Path, options: Options | None = None, host: Host | None = None, read: ReadDelivery | None = None
) -> Report:
    """Judge a delivery and return the report; raises the errors of `checked`."""
    return checked(path, options, host, read).report


def checked(
    path: Path, options: Options | None = None, host: Host | None = None, read: ReadDelivery | None = None, *,
    draws: bool = False,
) -> Checked:  # fmt: skip
    """Judge a delivery: read it (unless `read` is given), measure each side once, compute its groove and judge it.

    With `draws` the evidence is filled, which takes more time and a second look at the audio. Raises DeliveryError,
    RulesetError, UsageError or PluginError, each one sentence; faults of audio files and plugin failures are in the
    report.
    """
    options = options or Options()
    return run_check(path, options, host_of(host, options), read, draws=draws)


def approve(
    path: Path, request: ApproveRequest, file: Path, options: Options, host: Host | None = None,
    read: ReadDelivery | None = None,
) -> ApprovalDecision:  # fmt: skip
    """Judge a delivery and, where nothing fails but what the request accepts, add its approval to a file.

    `options.today` is the day of the approval. Raises the errors of `checked`; UsageError for a request that does not
    fit the report, DeliveryError for a file that cannot be extended, OutputError for one that cannot be written.
    """
    from qc.delivery.approvals import NAME, append_approval, in_folder, read_approvals  # imported late, for this alone
    from qc.judge.approve import decide

    if options.today is None:
        raise UsageError("an approval has a date, and today's date is not known; set Options.today")
    host = host_of(host, options)
    read = read or read_any(path, host)
    if file == read.folder / NAME:
        in_folder(read.folder)  # raises where a link leads out of the folder
    if file.exists():
        read_approvals(file)  # raises before any audio is measured
    never = {name for name, kind in host.checks.items() if not kind.waivable}
    decision = decide(check(path, options, host, read), request, never, options.today)
    if decision.approval is not None:
        append_approval(file, decision.approval)
    return decision


def plan(
    path: Path, options: PlanOptions | None = None, host: Host | None = None, read: ReadDelivery | None = None
) -> PlanReport:
    """Plan a delivery: measure each side once, then compare discs, assumptions and, by option, breaks and orders.

    Raises DeliveryError, RulesetError, UsageError or PluginError, each one sentence; faults of audio are in the plan.
    """
    from qc.run.planning import run_plan  # imported late, as by every command: only this one needs it

    options = options or PlanOptions()
    return run_plan(path, options, host_of(host, options), read)


def listen(
    path: Path, request: ListenRequest, options: Options | None = None, host: Host | None = None,
    read: ReadDelivery | None = None,
) -> ListenFiles:  # fmt: skip
    """Play a passage of a side as the disc will: measure its disc, read the passage again, cut it and trace it.

    Raises UsageError, DeliveryError, RulesetError or PluginError, each one sentence.
    """
    from qc.run.one_side import run_listen

    options = options or Options()
    return run_listen(path, request, options, host_of(host, options), read)


def where(
    path: Path, request: WhereRequest, options: Options | None = None, host: Host | None = None,
    read: ReadDelivery | None = None,
) -> WhereFound:  # fmt: skip
    """Find a place on a side: measure its disc, cut it at its level, and read the groove there again.

    Raises UsageError, DeliveryError, RulesetError or PluginError, each one sentence.
    """
    from qc.run.one_side import run_where

    options = options or Options()
    return run_where(path, request, options, host_of(host, options), read)


def rulesets_diff(
    before: str, after: str, on: Path | None = None, options: Options | None = None, host: Host | None = None
) -> RulesetDiff:
    """Compare two rulesets, NAME[@VERSION] or files, also by their effect on a delivery or a report (.json) `on`.

    Raises RulesetError, UsageError, DeliveryError or PluginError, each one sentence.
    """
    from qc.run.ruleset_comparison import run_rulesets_diff

    options = options or Options()
    return run_rulesets_diff(before, after, on, options, host_of(host, options))


@dataclass(frozen=True)
class Demo:
    """The demo delivery, judged."""

    report: Report
    planted: tuple[Planted, ...]
    """the faults planted in it"""


def demo(folder: Path, options: Options | None = None, host: Host | None = None) -> Demo:
    """Write the demo delivery into a new or empty folder and judge it.

    Raises UsageError or OutputError for the folder, and the errors of `check`.
    """
    from qc.demo.folder import make  # imported late: only this command needs it

    planted = make(folder)
    return Demo(check(folder, options, host), planted)


def render(
    result: Checked | Report, name: str, out: Path | BinaryIO, host: Host | None = None,
) -> str:  # fmt: skip
    """Write a report in a format of the tool or of a plugin, "html", to a path or a binary stream.

    A path is written whole or not at all, a folder for a format of several files. A format that draws pictures needs
    the result of `checked` with `draws`; without it they are left out. Returns the remark of the format, such as that
    an optional package is missing, or "". Raises UsageError for an unknown format, PluginError where the format fails,
    OutputError for a path that cannot be written.
    """
    host = host or build_host()
    kinds = with_plugins(host.renderers)
    if name not in kinds:
        if any(plugin.may_answer("qc_renderers") for plugin in host.left_out):
            plugins = ", ".join(plugin.name for plugin in host.left_out)
            raise PluginError(f'the format "{shown(name)}" may be of a plugin that did not load: {plugins}')
        raise UsageError(f'there is no format "{shown(name)}"; {meant(name, kinds)}')
    report, evidence = (result, None) if isinstance(result, Report) else (result.report, result.evidence)
    evidence = evidence or Evidence(words=words(host.checks), sources=Shelf.of(host).sources)
    calls = FormatCalls(name, host.renderer_owner.get(name, TOOL), host.runner)
    path = out if isinstance(out, Path) else None
    renderer = calls(lambda: kinds[name].load().for_path(path))
    calls.write(renderer, report, evidence, out, shown(str(out), longest=500))
    return calls.remark(renderer)


def rulesets(host: Host | None = None) -> Sequence[Available]:
    """List the available rulesets by name and version."""
    return available((host or build_host()).ruleset_folders)


__all__ = [
    "CORE", "FORMATS", "Bound", "Checked", "DeliveryError", "Options", "PlanOptions", "approve", "build_host", "check",
    "checked", "choose", "exit_code", "listen", "of_groove", "plan", "read_any", "render", "rulesets", "rulesets_diff",
    "units", "where", "words",
]  # fmt: skip
