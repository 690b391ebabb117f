"""The preparation of a run: its options, the ruleset bound to the checks, the chosen sides and the store."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from qc.audio.pipeline.process import default_workers
from qc.cache.keys import package_of
from qc.cache.store import Store
from qc.delivery.model import Side
from qc.delivery.reader import ReadDelivery
from qc.groove.level.release import LevelOption
from qc.groove.level.side_at_level import UNITS
from qc.judge.bind import Bound, bind
from qc.judge.inputs import InputPaths, read_optional_inputs
from qc.judge.left_out import LeftOutPlugins
from qc.judge.session import CORE, PreparedRun
from qc.judge.unset import unset_limits
from qc.measure.side import FILE_UNITS, MeasureOptions, Progress
from qc.model.errors import UsageError
from qc.plugin_base import Check, GrooveDerived, Need
from qc.plugin_host.host import Host
from qc.ruleset.load import Ruleset


@dataclass(frozen=True)
class Options:
    """Options of a check: ruleset NAME[@VERSION] or a file, side ids (all sides by default), threads, callbacks."""

    ruleset: str | None = None
    sides: tuple[str, ...] = ()
    workers: int | None = None
    progress: Callable[[str, float], None] | None = None
    """called with the side id and the part of it that is measured, 0..1"""
    chain: tuple[str, ...] = ()
    """chain values changed for this run, "cut.land=10um" """
    waivers: Path | None = None
    """file of waivers in addition to those of the delivery"""
    own_waivers: bool = False
    """whether only the waivers of that file count; those in the delivery are reported as not counted"""
    baseline: Path | None = None
    """an earlier JSON report to compare with"""
    approvals: Path | None = None
    """file of approvals to list, in addition to an `approvals.yaml` in the delivery's folder"""
    today: date | None = None
    """day on which waivers must be valid; the command line sets it, since nothing else reads the clock"""
    cache: Path | None = None
    """folder of stored measurements, created where needed; with None everything is measured and nothing stored. Its
    contents decide the verdict, so it must not be a folder that a sender may have filled; the command line uses the
    user's own cache folder (`qc.cache.place`) by default"""
    verify: bool = False
    """whether to measure everything again; stored measurements that differ are replaced, with a sentence for each"""
    told: Callable[[str], None] | None = None
    """called with a sentence where the folder of stored measurements cannot be read or written or has other values, and
    about limits of a house that may fail at the recommended level"""
    explained: Callable[[str], None] | None = None
    """called with a sentence for each analysis that is measured although there is a folder of stored measurements: why
    it is not taken from there, and what of its result cannot be stored"""
    patience: float | None = None
    """time limit of a call of plugin code, s; None: that of the host, 120 s unless it was built with another"""
    level: str | float | None = None
    """judge every side at this level instead of its requested or release level: "release", "recommended", "clean", a
    level such as "-6 dB", or a number in dB"""
    formats: tuple[str, ...] = ()
    """names of the formats that will be written; a plugin that did not load and may have one of them is needed"""


def prepared_run(
    read: ReadDelivery, ruleset: Ruleset, bound: Bound, host: Host, options: Options, level: LevelOption | None
) -> PreparedRun:  # fmt: skip
    """Collect the inputs of a run: bound limits, waivers and baseline, needs, the requested level."""
    lost = LeftOutPlugins(host, ruleset, units(host.needs)).checks
    sides = [side for _, side in chosen_sides(read, options.sides)]
    paths = InputPaths(
        options.waivers, options.baseline, options.today, own_waivers=options.own_waivers, approvals=options.approvals
    )
    inputs = read_optional_inputs(read, sides, paths, ruleset, installed_checks(host, bound), lost)
    return PreparedRun(read, ruleset, bound, host, inputs, (*CORE, *host.needs), lost, level=level)


def installed_checks(host: Host, bound: Bound) -> dict[str, type[Check[Any]]]:
    """Return all checks by id: those of plugins, and those that a ruleset defines without code."""
    return {**host.checks, **{check.id: type(check) for check in bound.checks}}


def bound_ruleset(ruleset: Ruleset, host: Host) -> Bound:
    """Bind a ruleset to the checks of the plugins; checks that a missing plugin may have are left out."""
    names = units(host.needs)
    left_out = LeftOutPlugins(host, ruleset, names)
    lost = (*left_out.checks, *left_out.off)
    return bind(ruleset, host.checks, names, lost, host.runner, of_groove(host.needs))


def units(needs: Sequence[type[Need[Any]]]) -> Mapping[str, str]:
    """Return the unit of every measurement, by name."""
    found = UNITS | FILE_UNITS
    for need in (*CORE, *needs):
        found |= need.publishes
    return found


def of_groove(needs: Sequence[type[Need[Any]]]) -> frozenset[str]:
    """Return the names of the measurements that needs derive from the groove; a limit on one may set the level."""
    return frozenset(name for need in needs if issubclass(need, GrooveDerived) for name in need.publishes)


def chosen_sides(read: ReadDelivery, ids: Sequence[str]) -> list[tuple[int, Side]]:
    """Return the requested sides with their index, in delivery order; raises UsageError for an id that is not there."""
    sides = read.delivery.sides
    unknown = [side_id for side_id in ids if side_id not in {side.id for side in sides}]
    if unknown:
        there = ", ".join(side.id for side in sides)
        raise UsageError(f"--side {unknown[0]}: the delivery has no such side; it has {there}")
    return [(i, side) for i, side in enumerate(sides) if not ids or side.id in ids]


def warn_of_unset_limits(ruleset: Ruleset, bound: Bound, host: Host, options: Options) -> None:
    """Report limits of a house that can fail at the recommended level."""
    for sentence in unset_limits(ruleset, bound, host.shipped_folders):
        if options.told is not None:
            options.told(sentence)


def measure_options(options: Options, host: Host) -> MeasureOptions:
    """Return the options of measuring a side: threads, the store and the time limit of plugins."""
    return MeasureOptions(worker_count(options), None, _store(options, host), host.runner)


def worker_count(options: Options) -> int:
    """Return the number of threads: as many as asked for, else one for each core."""
    return options.workers or default_workers()


def _store(options: Options, host: Host) -> Store | None:
    """Return the requested store of measurements, whose keys contain the version of each measuring plugin's package."""
    if options.cache is None:
        return None
    packages = {plugin.name: f"{plugin.package} {plugin.version}" for plugin in host.plugins}
    owners: dict[type, str] = {**host.need_owner, **{host.checks[name]: owner for name, owner in host.owner.items()}}
    versions = {package_of(kind): packages.get(owner, "") for kind, owner in owners.items()}
    return Store(
        options.cache, verify=options.verify, told=options.told, versions=versions, explained=options.explained,
        owners={package_of(kind): owner for kind, owner in owners.items()},
    )  # fmt: skip


def side_progress(progress: Callable[[str, float], None] | None, side: str) -> Progress | None:
    """Return the progress callback of one side."""
    return None if progress is None else lambda part: progress(side, part)
