"""One function for each command, called by the command line and by Python programs."""

from __future__ import annotations

import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO, NamedTuple

import qc
from qc.delivery.model import Side
from qc.delivery.reader import ReadDelivery, parse_delivery, read_delivery
from qc.groove.level.outside import Outside
from qc.groove.level.release import LevelOption, by_discs
from qc.judge.bind import Bound
from qc.judge.engine import CheckRunner, exit_code
from qc.judge.left_out import LeftOutPlugins
from qc.judge.level_option import level_words, read_level
from qc.judge.prepare import (
    Options,
    bound_ruleset,
    chosen_sides,
    installed_checks,
    measure_options,
    of_groove,
    prepared_run,
    side_progress,
    units,
    warn_of_unset_limits,
    worker_count,
)  # fmt: skip
from qc.judge.session import CORE, DeliveryJudging, broken_measures, needs_of_levels
from qc.judge.whole_report import delivery_facts, plugin_names, ruleset_facts, whole_report, with_failures
from qc.measure.groove_numbers import GrooveNumbers
from qc.model.check_docs import CheckWords
from qc.model.discs import disc_name
from qc.model.errors import DeliveryError, PluginError, UsageError
from qc.model.report import Origin, PluginFailure, Run
from qc.plugin_base import Check, Evidence, Need, Report
from qc.plugin_host.finder import find
from qc.plugin_host.host import Host
from qc.plugin_host.names import PROJECT
from qc.plugin_host.numeric_threads import one_thread_each
from qc.plugin_host.runner import Runner
from qc.report.registry import formats, with_plugins
from qc.report.writing import CORE as TOOL
from qc.report.writing import FormatCalls
from qc.ruleset.choose import choose, chosen, for_disc, loaded, named, needed_without, others
from qc.ruleset.find import Available, available
from qc.ruleset.library import Shelf, doubled_rulesets
from qc.ruleset.load import Ruleset
from qc.ruleset.overrides import Change, changed, read_changes
from qc.text.sanitize import shown
from qc.text.suggest import meant

if TYPE_CHECKING:
    from qc.demo.planted import Planted
    from qc.judge.approve import ApprovalDecision, ApproveRequest
    from qc.judge.judged_side import JudgedSide
    from qc.listen.rendering import ListenFiles
    from qc.listen.request import ListenRequest
    from qc.model.plan import PlanReport
    from qc.model.ruleset_diff import RulesetDiff
    from qc.model.where import WhereFound
    from qc.plan.discs import DiscToPlan
    from qc.plan.formats import Format
    from qc.where.request import WhereRequest

FORMATS = tuple(formats())
"""Names of the report formats of the core."""


@dataclass(frozen=True)
class PlanOptions(Options):
    """Options of a plan: a disc other than the delivery's, "12in-45", breaks into sides, other running orders."""

    disc: str | None = None
    split: bool = False
    most: int | None = None
    """most sides to break into; by default those of two discs, or as many as were delivered"""
    reorder: bool = False


@dataclass(frozen=True)
class Checked:
    """A report with the evidence for formats: texts always, arrays only where they were requested."""

    report: Report
    evidence: Evidence
    undrawn: tuple[PluginFailure, ...] = ()
    """plugins that failed while drawing, which is among the failures of the report and does not change its verdict"""


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
    return _checked(path, options, _host(host, options), read, draws=draws)


@one_thread_each()
def _checked(path: Path, options: Options, host: Host, read: ReadDelivery | None, *, draws: bool) -> Checked:
    clock, level = Clock.started(), read_level(options.level)
    read = read or read_any(path, host)
    changes, shelf = read_changes(options.chain), Shelf.of(host)
    choice = chosen(read, options.ruleset, host, shelf)
    ruleset = changed(choice.ruleset, changes)
    left_out = _left_out(ruleset, host, options)
    bound = bound_ruleset(ruleset, host)
    warn_of_unset_limits(ruleset, bound, host, options)
    case = prepared_run(read, ruleset, bound, host, options, level)
    case = replace(case, failures=left_out.failures([*choice.failures, *doubled_rulesets(host)]))
    if draws:
        case = replace(case, discs=tuple(_discs(ruleset, bound, changes, host, shelf)))
    how, ids = measure_options(options, host), frozenset(side.id for _, side in chosen_sides(read, options.sides))
    judging = DeliveryJudging(case, how, draws=draws)
    for sides in by_discs(list(enumerate(read.delivery.sides))):
        judging.disc(sides, ids, lambda side: replace(how, progress=side_progress(options.progress, side)))
    judging.delivery()
    report = with_failures(case.inputs.compared(whole_report(case, judging)), judging.undrawn)
    report = _shown_to_plugins(report, host)
    report = report.model_copy(update={"run": clock.run(how.workers, judging.origins)})
    shown = replace(judging.shown, words=words(installed_checks(host, bound)), sources=shelf.sources_of(ruleset.path))
    return Checked(report, shown, tuple(judging.undrawn))


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
    host = _host(host, options)
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
    options = options or PlanOptions()
    return _plan(path, options, _host(host, options), read)


@one_thread_each()
def _plan(path: Path, options: PlanOptions, host: Host, read: ReadDelivery | None) -> PlanReport:
    from qc.measure.side import measure_side
    from qc.model.plan import PlanReport
    from qc.plan.level import at_level
    from qc.plan.planning import delivered_side, plan_breaks, plan_side
    from qc.plan.running_order import Delivered  # imported late: only this command needs them

    clock, level, changes = Clock.started(), read_level(options.level), read_changes(options.chain)
    read = read or read_any(path, host)
    shelf = Shelf.of(host)
    choice = chosen(read, options.ruleset, host, shelf)
    ruleset = changed(choice.ruleset if options.disc is None else for_disc(options.disc, host, shelf), changes)
    before = _left_out(ruleset, host, options).failures([*choice.failures, *doubled_rulesets(host)])
    bound = bound_ruleset(ruleset, host)
    warn_of_unset_limits(ruleset, bound, host, options)
    own, *_ = discs = _discs(ruleset, bound, changes, host, shelf)
    needs = needs_of_levels(host.needs, bound.rows)
    how, origins = measure_options(options, host), dict[str, Origin]()
    outside, broken = dict[str, Outside](), dict[str, tuple[Mapping[type[Need[Any]], str], ...]]()
    failures = [*before.needed, *CheckRunner(host.owner).failures(bound.broken)]
    sides, delivered, cuts = [], [], dict[str, Delivered | None]()
    asked = [index for index, _ in chosen_sides(read, options.sides)]
    for index in _planned(read, asked, level):
        side = read.delivery.sides[index]
        how = replace(how, progress=side_progress(options.progress, side.id))
        measurement = measure_side(read, index, ruleset.chain, needs, how)
        if measurement.origin is not None:
            origins[side.id] = measurement.origin
        numbers = GrooveNumbers(measurement, how.runner)
        outside[side.id] = numbers.outside
        cut = delivered_side(measurement) if options.split or level is not None else None
        cuts[side.id] = cut
        if index in asked:
            sides.append(plan_side(measurement, discs, numbers.outside, reorder=options.reorder and not options.split))
            delivered += [cut] if options.split and cut is not None else []
        broken[side.id] = (measurement.broken, numbers.broken)
    if level is not None and own.form is not None:
        sides = at_level(sides, cuts, [side.id for side in read.delivery.sides], own.form, level, outside)
    for side_id, reasons in broken.items():
        failures += [failure for of_side in reasons for failure in broken_measures(of_side, side_id, host)]
    if how.store is not None:
        how.store.tidy()
    breaks, no_breaks = None, ""
    at_fault = [side.id for side in sides if side.fault]
    if options.split and own.form is not None and len(delivered) == len(sides):
        breaks = plan_breaks(delivered, own.form, options.most, reorder=options.reorder)
    elif options.split:
        no_breaks = (
            f"side {', '.join(at_fault)} was not measured" if at_fault else f"{own.name} needs a pass of its own"
        )
    return PlanReport(
        tool=f"sidegate {qc.__version__}",
        plugins=plugin_names(host),
        disc=own.name,
        ruleset=ruleset_facts(ruleset, bound),
        delivery=delivery_facts(read),
        level=None if level is None else level_words(level),
        sides=tuple(sides),
        breaks=breaks,
        no_breaks=no_breaks,
        plugin_failures=tuple(failures),
        plugin_warnings=before.unneeded,
        run=clock.run(how.workers, origins),
    )


def listen(
    path: Path, request: ListenRequest, options: Options | None = None, host: Host | None = None,
    read: ReadDelivery | None = None,
) -> ListenFiles:  # fmt: skip
    """Play a passage of a side as the disc will: measure its disc, read the passage again, cut it and trace it.

    Raises UsageError, DeliveryError, RulesetError or PluginError, each one sentence.
    """
    options = options or Options()
    return _listen(path, request, options, _host(host, options), read)


@one_thread_each()
def _listen(
    path: Path, request: ListenRequest, options: Options, host: Host, read: ReadDelivery | None
) -> ListenFiles:  # fmt: skip
    from qc.intake.side_input import read_input
    from qc.listen.rendering import PassagePlayer  # imported late: only this command needs them

    chosen = _chosen_side(path, request.side, options, host, read)
    ruleset = chosen.ruleset
    request = request.with_tips(ruleset.tips, ruleset.full_name)
    request.refuse(ruleset.chain.disc, read_input(chosen.read, chosen.side[1]).received.facts.duration_s)
    refused = f"listen: side {request.side} cannot be played"
    played = _judged_side(chosen, request.levels, options, host, refused)
    player = PassagePlayer.read(request, played.worked, played.excerpts)
    return player.files(played.levels, f"sidegate {qc.__version__}", ruleset.full_name, worker_count(options))


def where(
    path: Path, request: WhereRequest, options: Options | None = None, host: Host | None = None,
    read: ReadDelivery | None = None,
) -> WhereFound:  # fmt: skip
    """Find a place on a side: measure its disc, cut it at its level, and read the groove there again.

    Raises UsageError, DeliveryError, RulesetError or PluginError, each one sentence.
    """
    options = options or Options()
    return _where(path, request, options, _host(host, options), read)


@one_thread_each()
def _where(
    path: Path, request: WhereRequest, options: Options, host: Host, read: ReadDelivery | None
) -> WhereFound:  # fmt: skip
    from qc.where.place import Names, PlaceFinder  # imported late: only this command needs them

    chosen = _chosen_side(path, request.side, options, host, read)
    levels = () if request.level is None else (request.level,)
    judged = _judged_side(chosen, levels, options, host, f"where: the groove of side {request.side} is unknown")
    names = Names(f"sidegate {qc.__version__}", chosen.ruleset.full_name, chosen.read.delivery.title)
    return PlaceFinder(judged.worked, judged.levels[0]).found(request, names, judged.excerpts)


class ChosenSide(NamedTuple):
    """One side of a delivery and its ruleset, for a command that looks into its groove."""

    read: ReadDelivery
    ruleset: Ruleset
    side: tuple[int, Side]
    """with its index"""


def _chosen_side(path: Path, side: str, options: Options, host: Host, read: ReadDelivery | None) -> ChosenSide:
    """Read a delivery and choose its ruleset; raises PluginError where a check of the ruleset is missing."""
    read = read or read_any(path, host)
    ruleset = changed(choose(read, options.ruleset, host, Shelf.of(host)), read_changes(options.chain))
    _left_out(ruleset, host, options).refuse_missing()
    (found,) = chosen_sides(read, (side,))
    return ChosenSide(read, ruleset, found)


def _judged_side(
    chosen: ChosenSide, levels: Sequence[LevelOption], options: Options, host: Host, refused: str
) -> JudgedSide:  # fmt: skip
    """Measure a side and work it out at `levels`; raises the errors of `judged_side`, and for a broken check."""
    from qc.judge.judged_side import judged_side

    read, ruleset, side = chosen
    case = prepared_run(read, ruleset, bound_ruleset(ruleset, host).refuse_broken(), host, options, None)
    how, progress = measure_options(options, host), options.progress
    return judged_side(case, side, levels, how, lambda name: side_progress(progress, name), refused)


def rulesets_diff(
    before: str, after: str, on: Path | None = None, options: Options | None = None, host: Host | None = None
) -> RulesetDiff:
    """Compare two rulesets, NAME[@VERSION] or files, also by their effect on a delivery or a report (.json) `on`.

    Raises RulesetError, UsageError, DeliveryError or PluginError, each one sentence.
    """
    options = options or Options()
    return _rulesets_diff(before, after, on, options, _host(host, options))


@one_thread_each()
def _rulesets_diff(before: str, after: str, on: Path | None, options: Options, host: Host) -> RulesetDiff:
    from qc.judge.baseline.earlier import read_report
    from qc.ruleset_diff.compare import differences, on_delivery  # imported late: only this command needs them
    from qc.ruleset_diff.rejudge import BoundRuleset, Rejudging

    shelf = Shelf.of(host)
    pair = [named(spec, host, shelf) for spec in (before, after)]
    old, new = (shelf.load(there) for there in pair)
    for ruleset in (old, new):
        _left_out(ruleset, host, options).refuse_missing()
        bound_ruleset(ruleset, host).refuse_broken()  # raises for a ruleset that cannot judge
    found = differences(old, new, host)
    if on is None:
        return found
    if on.suffix == ".json":
        report = read_report(on)
        both = (loaded(there, host, shelf) for there in pair)
        mine, theirs = (BoundRuleset(ruleset, bound_ruleset(ruleset, host)) for ruleset in both)
        publishers = {name: need for need in (*CORE, *host.needs) for name in need.publishes}
        return found.model_copy(
            update={"compared": Rejudging(report, mine, theirs, publishers, host.runner).compared(on.name)}
        )
    read = read_any(on, host)
    for spec in (before, after):
        choose(read, spec, host, shelf)  # raises before any audio is measured
    earlier, later = (check(on, replace(options, ruleset=spec), host, read) for spec in (before, after))
    return found.model_copy(update={"compared": on_delivery(earlier, later)})


def _discs(
    ruleset: Ruleset, bound: Bound, changes: Sequence[Change], host: Host, shelf: Shelf
) -> list[DiscToPlan]:  # fmt: skip
    """Return every disc with its chain and limits, the ruleset's own first."""
    from qc.plan.discs import DiscToPlan

    own = DiscToPlan(disc_name(*ruleset.serves), ruleset.full_name, _format(ruleset, bound), planned=True)
    return [
        own,
        *(
            DiscToPlan(name, other.full_name, _format(other, bound_ruleset(other, host)))
            if isinstance(other, Ruleset)
            else DiscToPlan(name, reason=str(other))
            for name, other in others(ruleset, changes, host, shelf)
        ),
    ]


def _format(ruleset: Ruleset, bound: Bound) -> Format:
    from qc.plan.formats import Format  # imported late: only plans and pictures need it

    return Format(ruleset.chain, bound.rows, bound.policy, bound.tips)


@dataclass(frozen=True)
class Clock:
    """Start time of a run, for the report."""

    began: str
    """ISO 8601, UTC, to the second"""
    ticks: float

    @classmethod
    def started(cls) -> Clock:
        """Return a clock that starts now."""
        return cls(datetime.now(UTC).isoformat(timespec="seconds"), time.monotonic())

    def run(self, workers: int, origins: Mapping[str, Origin]) -> Run:
        """Return the facts of the run that ends now; `origins` maps each side to the origin of its measurements."""
        return Run.of(self.began, time.monotonic() - self.ticks, workers, origins)


def _shown_to_plugins(report: Report, host: Host) -> Report:
    """Pass the finished report to plugins; failures are added to it without changing the verdict."""
    return with_failures(report, host.report_done(report))


def _left_out(ruleset: Ruleset, host: Host, options: Options) -> LeftOutPlugins:
    """Compare the plugins that are not there with what a run asks for; raises UsageError for one switched off."""
    missing = [name for name in options.formats if name not in {*FORMATS, *host.renderers}]
    left_out = LeftOutPlugins(host, ruleset, units(host.needs), missing)
    left_out.refuse_switched_off()
    return left_out


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


def build_host(time_limit_s: float | None = None, without: Sequence[str] = ()) -> Host:
    """Load the installed plugins, none of which may replace a measurement or format of the core.

    A call of their code times out after `time_limit_s`, 120 s by default. No code of those in `without` is run; raises
    UsageError for a name that no plugin has, and for the plugins of the tool itself.
    """
    runner = None if time_limit_s is None else Runner(time_limit_s)
    installed = {plugin.name: plugin.package for plugin in find()}
    for name in without:
        if name not in installed:
            others = [other for other, package in installed.items() if package != PROJECT]
            what = f'no plugin is called "{shown(name)}", which --without or SIDEGATE_WITHOUT switches off'
            raise UsageError(f"{what}; {meant(name, others)}")
        if installed[name] == PROJECT:
            raise needed_without(name, "it is part of sidegate itself")
    return Host.build(core=units(()), formats=FORMATS, runner=runner, without=without)


def _host(host: Host | None, options: Options) -> Host:
    """Return the plugins of a run, the given or the installed ones, with the time limit of the options."""
    return build_host(options.patience) if host is None else host.with_time_limit(options.patience)


def words(checks: Mapping[str, type[Check[Any]]]) -> Mapping[str, CheckWords]:
    """Return the texts of every check, by id."""
    return {check_id: CheckWords.of(check) for check_id, check in checks.items()}


def read_any(path: Path, host: Host) -> ReadDelivery:
    """Read a delivery by a plugin that recognises the path, else as YAML."""
    text = host.read_delivery(path)
    if text is not None:
        return parse_delivery(text.encode(), path, path if path.is_dir() else path.parent)
    return read_delivery(path)


def rulesets(host: Host | None = None) -> Sequence[Available]:
    """List the available rulesets by name and version."""
    return available((host or build_host()).ruleset_folders)


def _planned(read: ReadDelivery, chosen: Sequence[int], level: LevelOption | None) -> list[int]:
    """Return the sides that a plan measures: the chosen ones, and for a release level the others of their discs."""
    discs = by_discs(range(len(read.delivery.sides)))
    return [i for disc in discs for i in disc if i in chosen or (level == "release" and set(disc) & set(chosen))]


__all__ = [
    "CORE", "FORMATS", "Bound", "Checked", "DeliveryError", "Options", "PlanOptions", "approve", "build_host", "check",
    "checked", "choose", "exit_code", "listen", "of_groove", "plan", "read_any", "render", "rulesets", "rulesets_diff",
    "units", "where", "words",
]  # fmt: skip
