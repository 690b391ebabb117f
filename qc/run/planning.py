"""The run of `plan`: each side measured once, then discs, assumptions, breaks and orders compared."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import qc
from qc.delivery.reader import ReadDelivery
from qc.groove.level.outside import Outside
from qc.groove.level.release import LevelOption, by_discs
from qc.judge.bind import Bound
from qc.judge.engine import CheckRunner
from qc.judge.left_out import Failures
from qc.judge.level_option import level_words, read_level
from qc.judge.prepare import bound_ruleset, chosen_sides, measure_options, side_progress, warn_of_unset_limits
from qc.judge.session import broken_measures, needs_of_levels
from qc.judge.whole_report import delivery_facts, plugin_names, ruleset_facts
from qc.measure.groove_numbers import GrooveNumbers
from qc.measure.side import MeasureOptions, measure_side
from qc.model.plan import Breaks, PlannedSide, PlanReport
from qc.model.report import Origin, PluginFailure
from qc.plan.discs import DiscToPlan
from qc.plan.level import at_level
from qc.plan.planning import delivered_side, plan_breaks, plan_side
from qc.plan.running_order import Delivered
from qc.plugin_base import Need
from qc.plugin_host.host import Host
from qc.plugin_host.numeric_threads import one_thread_each
from qc.ruleset.choose import chosen, for_disc
from qc.ruleset.library import Shelf, doubled_rulesets
from qc.ruleset.load import Ruleset
from qc.ruleset.overrides import changed, read_changes
from qc.run.clock import Clock
from qc.run.discs import discs_to_plan
from qc.run.options import PlanOptions
from qc.run.plugins import left_out_plugins, read_any


@one_thread_each()
def run_plan(path: Path, options: PlanOptions, host: Host, read: ReadDelivery | None) -> PlanReport:
    """Read a delivery (unless `read` is given), measure its sides and plan them; raises the errors of `qc.api.plan`."""
    clock, level, changes = Clock.started(), read_level(options.level), read_changes(options.chain)
    read = read or read_any(path, host)
    shelf = Shelf.of(host)
    choice = chosen(read, options.ruleset, host, shelf)
    ruleset = changed(choice.ruleset if options.disc is None else for_disc(options.disc, host, shelf), changes)
    before = left_out_plugins(ruleset, host, options).failures([*choice.failures, *doubled_rulesets(host)])
    bound = bound_ruleset(ruleset, host)
    warn_of_unset_limits(ruleset, bound, host, options)
    case = PlanCase(read, ruleset, bound, host, options, level, discs_to_plan(ruleset, bound, changes, host, shelf))
    return case.report(before, clock)


@dataclass(frozen=True)
class PlanCase:
    """The inputs of a plan: the delivery, the ruleset of the planned disc bound to the checks, the options, the level.

    `discs` are the discs to compare, the planned one first.
    """

    read: ReadDelivery
    ruleset: Ruleset
    bound: Bound
    host: Host
    options: PlanOptions
    level: LevelOption | None
    discs: Sequence[DiscToPlan]

    @property
    def own(self) -> DiscToPlan:
        """The planned disc."""
        return self.discs[0]

    def report(self, before: Failures, clock: Clock) -> PlanReport:
        """Measure and plan the sides; `before` are the failures of plugins that did not load."""
        how = measure_options(self.options, self.host)
        measured = self.measured(how)
        if how.store is not None:
            how.store.tidy()
        breaks, no_breaks = self.breaks(measured)
        return PlanReport(
            tool=f"sidegate {qc.__version__}",
            plugins=plugin_names(self.host),
            disc=self.own.name,
            ruleset=ruleset_facts(self.ruleset, self.bound),
            delivery=delivery_facts(self.read),
            level=None if self.level is None else level_words(self.level),
            sides=tuple(self.sides_at_level(measured)),
            breaks=breaks,
            no_breaks=no_breaks,
            plugin_failures=(
                *before.needed,
                *CheckRunner(self.host.owner).failures(self.bound.broken),
                *measured.failures(self.host),
            ),
            plugin_warnings=before.unneeded,
            run=clock.run(how.workers, measured.origins),
        )

    def measured(self, how: MeasureOptions) -> MeasuredSides:
        """Measure each side that the plan needs, one after the other, and plan those that were asked for."""
        options, found = self.options, MeasuredSides()
        needs = needs_of_levels(self.host.needs, self.bound.rows)
        asked = [index for index, _ in chosen_sides(self.read, options.sides)]
        for index in self.needed_sides(asked):
            name = self.read.delivery.sides[index].id
            of_side = replace(how, progress=side_progress(options.progress, name))
            measurement = measure_side(self.read, index, self.ruleset.chain, needs, of_side)
            if measurement.origin is not None:
                found.origins[name] = measurement.origin
            numbers = GrooveNumbers(measurement, how.runner)
            found.outside[name] = numbers.outside
            cut = delivered_side(measurement) if options.split or self.level is not None else None
            found.cuts[name] = cut
            if index in asked:
                reorder = options.reorder and not options.split
                found.sides.append(plan_side(measurement, self.discs, numbers.outside, reorder=reorder))
                found.delivered += [cut] if options.split and cut is not None else []
            found.broken[name] = (measurement.broken, numbers.broken)
        return found

    def needed_sides(self, asked: Sequence[int]) -> list[int]:
        """Return the index of each side to measure: the asked ones, for a release level also the others of a disc."""
        discs = by_discs(range(len(self.read.delivery.sides)))
        whole = self.level == "release"
        return [i for disc in discs for i in disc if i in asked or (whole and set(disc) & set(asked))]

    def sides_at_level(self, measured: MeasuredSides) -> Sequence[PlannedSide]:
        """Return the planned sides, cut at the requested level where there is one."""
        form, ids = self.own.form, [side.id for side in self.read.delivery.sides]
        if self.level is None or form is None:
            return measured.sides
        return at_level(measured.sides, measured.cuts, ids, form, self.level, measured.outside)

    def breaks(self, measured: MeasuredSides) -> tuple[Breaks | None, str]:
        """Return the breaks into sides where they were asked for, and else why there are none."""
        options, form = self.options, self.own.form
        if not options.split:
            return None, ""
        if form is not None and len(measured.delivered) == len(measured.sides):
            return plan_breaks(measured.delivered, form, options.most, reorder=options.reorder), ""
        at_fault = [side.id for side in measured.sides if side.fault]
        if at_fault:
            return None, f"side {', '.join(at_fault)} was not measured"
        return None, f"{self.own.name} needs a pass of its own"


@dataclass
class MeasuredSides:
    """The sides of a plan as they were measured, by id, in the order of the delivery."""

    sides: list[PlannedSide] = field(default_factory=list)
    """those that were asked for"""
    delivered: list[Delivered] = field(default_factory=list)
    """the cuts of those, to break into sides"""
    cuts: dict[str, Delivered | None] = field(default_factory=dict)
    outside: dict[str, Outside] = field(default_factory=dict)
    broken: dict[str, tuple[Mapping[type[Need[Any]], str], ...]] = field(default_factory=dict)
    """measurement -> why its plugin failed"""
    origins: dict[str, Origin] = field(default_factory=dict)

    def failures(self, host: Host) -> list[PluginFailure]:
        """Return the failure of each plugin that measures."""
        return [
            failure
            for side, reasons in self.broken.items()
            for of_side in reasons
            for failure in broken_measures(of_side, side, host)
        ]
