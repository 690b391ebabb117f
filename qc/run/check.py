"""The run of `check`: each side measured once, its groove computed, both judged."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

from qc.delivery.reader import ReadDelivery
from qc.groove.level.release import by_discs
from qc.judge.level_option import read_level
from qc.judge.prepare import (
    Options,
    bound_ruleset,
    chosen_sides,
    installed_checks,
    measure_options,
    prepared_run,
    side_progress,
    warn_of_unset_limits,
)
from qc.judge.session import DeliveryJudging
from qc.judge.whole_report import whole_report, with_failures
from qc.model.report import PluginFailure
from qc.plugin_base import Evidence, Report
from qc.plugin_host.host import Host
from qc.plugin_host.numeric_threads import one_thread_each
from qc.ruleset.choose import chosen
from qc.ruleset.library import Shelf, doubled_rulesets
from qc.ruleset.overrides import changed, read_changes
from qc.run.clock import Clock
from qc.run.plugins import left_out_plugins, read_any, words


@dataclass(frozen=True)
class Checked:
    """A report with the evidence for formats: texts always, arrays only where they were requested."""

    report: Report
    evidence: Evidence
    undrawn: tuple[PluginFailure, ...] = ()
    """plugins that failed while drawing, which is among the failures of the report and does not change its verdict"""


@one_thread_each()
def run_check(path: Path, options: Options, host: Host, read: ReadDelivery | None, *, draws: bool) -> Checked:
    """Judge a delivery (read already where `read` is given); raises the errors of `qc.api.checked`."""
    clock, level = Clock.started(), read_level(options.level)
    read = read or read_any(path, host)
    changes, shelf = read_changes(options.chain), Shelf.of(host)
    choice = chosen(read, options.ruleset, host, shelf)
    ruleset = changed(choice.ruleset, changes)
    left_out = left_out_plugins(ruleset, host, options)
    bound = bound_ruleset(ruleset, host)
    warn_of_unset_limits(ruleset, bound, host, options)
    case = prepared_run(read, ruleset, bound, host, options, level)
    case = replace(case, failures=left_out.failures([*choice.failures, *doubled_rulesets(host)]))
    if draws:
        from qc.run.discs import discs_to_plan  # imported late: only pictures need it

        case = replace(case, discs=tuple(discs_to_plan(ruleset, bound, changes, host, shelf)))
    how, ids = measure_options(options, host), frozenset(side.id for _, side in chosen_sides(read, options.sides))
    judging = DeliveryJudging(case, how, draws=draws)
    for sides in by_discs(list(enumerate(read.delivery.sides))):
        judging.disc(sides, ids, lambda side: replace(how, progress=side_progress(options.progress, side)))
    judging.delivery()
    report = with_failures(case.inputs.compared(whole_report(case, judging)), judging.undrawn)
    report = with_failures(report, host.report_done(report))  # which does not change the verdict
    report = report.model_copy(update={"run": clock.run(how.workers, judging.origins)})
    shown = replace(judging.shown, words=words(installed_checks(host, bound)), sources=shelf.sources_of(ruleset.path))
    return Checked(report, shown, tuple(judging.undrawn))
