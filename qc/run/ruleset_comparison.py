"""The run of `rulesets diff`: two rulesets compared, also by what each makes of a delivery or a report."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from qc.judge.baseline.earlier import read_report
from qc.judge.prepare import Options, bound_ruleset
from qc.judge.session import CORE
from qc.model.ruleset_diff import RulesetDiff
from qc.plugin_host.host import Host
from qc.plugin_host.numeric_threads import one_thread_each
from qc.ruleset.choose import choose, loaded, named
from qc.ruleset.library import Shelf
from qc.ruleset_diff.compare import differences, on_delivery
from qc.ruleset_diff.rejudge import BoundRuleset, Rejudging
from qc.run.check import run_check
from qc.run.plugins import left_out_plugins, read_any


@one_thread_each()
def run_rulesets_diff(before: str, after: str, on: Path | None, options: Options, host: Host) -> RulesetDiff:
    """Compare two rulesets, NAME[@VERSION] or files; raises the errors of `qc.api.rulesets_diff`."""
    shelf = Shelf.of(host)
    pair = [named(spec, host, shelf) for spec in (before, after)]
    old, new = (shelf.load(there) for there in pair)
    for ruleset in (old, new):
        left_out_plugins(ruleset, host, options).refuse_missing()
        bound_ruleset(ruleset, host).refuse_broken()  # raises for a ruleset that cannot judge
    found = differences(old, new, host)
    if on is None:
        return found
    if on.suffix == ".json":
        report = read_report(on)
        both = (loaded(there, host, shelf) for there in pair)
        mine, theirs = (BoundRuleset(ruleset, bound_ruleset(ruleset, host)) for ruleset in both)
        publishers = {name: need for need in (*CORE, *host.needs) for name in need.publishes}
        rejudging = Rejudging(report, mine, theirs, publishers, host.runner)
        return found.model_copy(update={"compared": rejudging.compared(on.name)})
    read = read_any(on, host)
    for spec in (before, after):
        choose(read, spec, host, shelf)  # raises before any audio is measured
    of_both = (replace(options, ruleset=spec) for spec in (before, after))
    earlier, later = (run_check(on, chosen, host, read, draws=False).report for chosen in of_both)
    return found.model_copy(update={"compared": on_delivery(earlier, later)})
