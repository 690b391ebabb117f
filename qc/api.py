"""One function a command: what the command line calls, and what a Python programme may call instead."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import qc
from qc.audio.heard import default_workers
from qc.cautions import CAUTIONS
from qc.contract import CheckResult, Need, Report
from qc.delivery.model import Side
from qc.delivery.reader import ReadDelivery, parse_delivery, read_delivery
from qc.demo.planted import Planted
from qc.errors import DeliveryError, PluginError, RulesetError, UsageError
from qc.groove.programme import Programme
from qc.groove.sectors import Sectors
from qc.groove.worked import UNITS
from qc.hooks.host import Host
from qc.judge.bind import Bound, bind
from qc.judge.engine import judge_delivery, judge_side, verdict
from qc.measuring import FILE_UNITS, MeasuredSide, Progress, measure_side
from qc.nearest import nearest
from qc.report.held import held
from qc.report.model import DeliveryFacts, PluginFailure, RulesetFacts, Run, SideReport
from qc.report.side import disc_levels
from qc.ruleset.find import Available, available, find, is_path, serving
from qc.ruleset.load import Ruleset, load_ruleset, missing_requirements
from qc.ruleset.sources import Sources

CORE: tuple[type[Need[Any]], ...] = (Programme, Sectors)
"""Needs that the groove itself has; plugins bring the others."""


@dataclass(frozen=True)
class Options:
    """How to check: ruleset NAME[@VERSION] or a file, sides by id (none named: all), threads, who is told."""

    ruleset: str | None = None
    sides: tuple[str, ...] = ()
    workers: int | None = None
    progress: Callable[[str, float], None] | None = None
    """told the side and how much of it is heard, 0..1"""


def check(
    path: Path, options: Options | None = None, host: Host | None = None, read: ReadDelivery | None = None
) -> Report:
    """Judge a delivery: read it (or take it as `read`), hear each side once, work out its groove, judge it.

    Raises DeliveryError, RulesetError, UsageError or PluginError, each one sentence; faults of audio files
    and plugins that break are in the report.
    """
    options, began = options or Options(), time.monotonic()
    started = datetime.now(UTC).isoformat(timespec="seconds")
    host = host or build_host()
    read = read or read_any(path, host)
    ruleset = choose(read, options.ruleset, host)
    lost = _lost(ruleset, host)
    bound = bind(ruleset, host.checks, units(host.needs), lost)
    workers = options.workers or default_workers()
    sides, results, failures, evidence = [], [], list(host.failures), {}
    for index, side in _chosen(read, options.sides):
        progress = _told(options.progress, side.id)
        measured = measure_side(read, index, ruleset.chain, (*CORE, *host.needs), bound, workers, progress)
        judged, broken = judge_side(bound.checks, measured.evidence, host.owner)
        sides.append(measured.report)
        evidence[f"side:{side.id}"] = measured.evidence
        results += [*judged, *(_not_run(check_id, side.id) for check_id in lost)]
        failures += broken + _broken_measures(measured, host)
    judged, broken = judge_delivery(bound.checks, evidence, read.delivery.itself(), host.owner)
    results, failures = results + judged, failures + broken
    report = _report(read, ruleset, bound, host, sides, results, failures)
    more = host.report_done(report)
    if more:
        report = report.model_copy(update={"plugin_failures": (*failures, *more)})  # the verdict stands
    run = Run(started=started, seconds=time.monotonic() - began, workers=workers)
    return report.model_copy(update={"run": run})


@dataclass(frozen=True)
class Demo:
    """The demo as it was made and judged."""

    report: Report
    planted: tuple[Planted, ...]
    """the faults it was made with"""


def demo(folder: Path, options: Options | None = None, host: Host | None = None) -> Demo:
    """Make the demo delivery in a folder that is empty or not there yet, and judge it.

    Raises UsageError or OutputError for the folder, and whatever `check` raises.
    """
    from qc.demo.folder import make  # its instruments are nobody else's business

    planted = make(folder)
    return Demo(check(folder, options, host), planted)


def build_host() -> Host:
    """Load the installed plugins, none of which may take the place of what the core brings."""
    return Host.build(core=units(()), formats=("json", "sheet", "text"))


def _lost(ruleset: Ruleset, host: Host) -> tuple[str, ...]:
    """Name the checks a ruleset asks for that a plugin that did not load may have held: those near no known id."""
    if all(plugin.error is None for plugin in host.plugins):
        return ()
    missing = set(ruleset.limits) - set(host.checks) - set(ruleset.off)
    return tuple(sorted(check_id for check_id in missing if nearest(check_id, host.checks) is None))


def _not_run(check_id: str, side: str) -> CheckResult:
    reason = "the check is not there; a plugin did not load"
    return CheckResult(check=check_id, scope="side", side=side, outcome="error", reason=reason)


def read_any(path: Path, host: Host) -> ReadDelivery:
    """Read a delivery: by a plugin that knows the path, else as YAML."""
    text = host.read_delivery(path)
    if text is not None:
        return parse_delivery(text.encode(), path, path if path.is_dir() else path.parent)
    return read_delivery(path)


def rulesets(host: Host | None = None) -> Sequence[Available]:
    """List the rulesets there are, by name and version."""
    return available((host or build_host()).ruleset_folders)


def choose(read: ReadDelivery, asked: str | None, host: Host) -> Ruleset:
    """Find the ruleset: the one asked for, else the one the delivery names, else the one that serves its disc."""
    folders, delivery = host.ruleset_folders, read.delivery
    spec = asked or delivery.ruleset
    if asked is None and delivery.ruleset is not None and is_path(delivery.ruleset):
        raise RulesetError(
            f"{read.lined.at(('ruleset',))}: a delivery names its ruleset as NAME@VERSION, not by a path; "
            "a ruleset file is given with --ruleset"
        )
    try:
        if spec is not None:
            there = find(spec, folders)
        else:
            assert delivery.disc is not None  # the delivery model asks for one of the two
            there = serving(delivery.disc.size, delivery.disc.speed, folders)
    except RulesetError as error:
        if asked is None:
            where = read.lined.at(("ruleset",) if delivery.ruleset else ("disc",))
            raise RulesetError(f"{where}: {error}") from None
        raise
    ruleset = load_ruleset(there, Sources(folders))
    loaded = {plugin.package: plugin.version for plugin in host.plugins if plugin.error is None}
    lacking = missing_requirements(ruleset, loaded)
    if lacking:
        raise PluginError(lacking[0])
    disc = delivery.disc
    if disc is not None and ruleset.serves != (disc.size, disc.speed):
        size, speed = ruleset.serves
        raise RulesetError(
            f"{read.lined.at(('disc',))}: the delivery is for {disc.size} at {disc.speed}, ruleset {ruleset.name}"
            f"@{ruleset.version} serves {size} at {speed}; correct the disc or choose another ruleset"
        )
    return ruleset


def units(needs: Sequence[type[Need[Any]]]) -> Mapping[str, str]:
    """Give the unit of every measurement there is, by name."""
    known = UNITS | FILE_UNITS
    for need in (*CORE, *needs):
        known |= need.publishes
    return known


def _chosen(read: ReadDelivery, ids: Sequence[str]) -> list[tuple[int, Side]]:
    """Give the sides asked for, in the delivery's order."""
    sides = read.delivery.sides
    unknown = [one for one in ids if one not in {side.id for side in sides}]
    if unknown:
        there = ", ".join(side.id for side in sides)
        raise UsageError(f"--side {unknown[0]}: the delivery has no such side; it has {there}")
    return [(i, side) for i, side in enumerate(sides) if not ids or side.id in ids]


def _told(progress: Callable[[str, float], None] | None, side: str) -> Progress | None:
    return None if progress is None else lambda part: progress(side, part)


def _broken_measures(measured: MeasuredSide, host: Host) -> list[PluginFailure]:
    """Name each plugin whose measuring raised, also when no check asked for the number."""
    return [
        PluginFailure(plugin=host.need_owner.get(need, "sidegate"), stage=need.id, message=why,
                      side=measured.report.id)
        for need, why in measured.evidence.broken.items()
    ]  # fmt: skip


def _report(
    read: ReadDelivery, ruleset: Ruleset, bound: Bound, host: Host, sides: Sequence[SideReport],
    results: Sequence[CheckResult], failures: Sequence[PluginFailure],
) -> Report:  # fmt: skip
    delivery = read.delivery
    disc = {} if delivery.disc is None else {"size": delivery.disc.size, "speed": delivery.disc.speed}
    return Report(
        tool=f"sidegate {qc.__version__}",
        plugins=tuple(f"{p.name} ({p.package} {p.version})" for p in host.plugins if p.error is None),
        ruleset=RulesetFacts(
            name=ruleset.name, version=ruleset.version, sha256=ruleset.sha256, chain=ruleset.chain_rows,
            limits=held(bound.checks),
        ),
        delivery=DeliveryFacts(
            file=read.file.name, sha256=read.sha256, title=delivery.title, catalogue=delivery.catalogue or "",
            disc=disc, notes=delivery.notes or "",
        ),
        sides=tuple(sides),
        discs=disc_levels(sides),
        results=tuple(results),
        plugin_failures=tuple(failures),
        verdict=verdict(results, failures),
        cautions=CAUTIONS,
    )  # fmt: skip


__all__ = ["Bound", "DeliveryError", "Options", "check", "choose", "read_any", "rulesets", "units"]
