"""Assemble the report of a judged delivery."""

from __future__ import annotations

from collections.abc import Sequence

import qc
from qc.delivery.reader import ReadDelivery
from qc.judge.bind import Bound
from qc.judge.bound_limits import bound_limits
from qc.judge.engine import verdict
from qc.judge.level_option import level_words
from qc.judge.parameters import bound_parameters
from qc.judge.session import DeliveryJudging, PreparedRun
from qc.judge.subjects import subject_verdicts
from qc.model.cautions import CAUTIONS
from qc.model.report import DeliveryFacts, ExtendedFacts, PluginFailure, Report, RulesetFacts
from qc.plugin_host.host import Host
from qc.ruleset.load import Ruleset


def whole_report(case: PreparedRun, judging: DeliveryJudging) -> Report:
    """Return the report of a judged delivery, to which the caller adds the facts of the run."""
    sides, results, failures = judging.sides, judging.results, judging.failures
    return Report(
        tool=f"sidegate {qc.__version__}",
        plugins=plugin_names(case.host),
        ruleset=ruleset_facts(case.ruleset, case.bound),
        delivery=delivery_facts(case.read),
        level=None if case.level is None else level_words(case.level),
        sides=tuple(sides),
        discs=tuple(judging.discs),
        results=tuple(results),
        plugin_failures=tuple(failures),
        plugin_warnings=case.failures.unneeded,
        verdict=verdict(results, failures),
        subjects=subject_verdicts(results, case.bound.checks),
        cautions=CAUTIONS,
    )


def with_failures(report: Report, failures: Sequence[PluginFailure]) -> Report:
    """Add failures that came after the verdict, which they do not change."""
    if not failures:
        return report
    return report.model_copy(update={"plugin_failures": (*report.plugin_failures, *failures)})


def plugin_names(host: Host) -> tuple[str, ...]:
    """Return the name of every loaded plugin with its package and version."""
    return tuple(f"{p.name} ({p.package} {p.version})" for p in host.plugins if p.error is None)


def ruleset_facts(ruleset: Ruleset, bound: Bound) -> RulesetFacts:
    """Return the facts of a ruleset: version, digest, extended rulesets, chain, limits and parameters as bound."""
    extends = tuple(ExtendedFacts(**parent._asdict()) for parent in ruleset.extends)
    return RulesetFacts(
        name=ruleset.name, version=ruleset.version, sha256=ruleset.sha256, extends=extends, chain=ruleset.chain_rows,
        level=ruleset.level_rows, tips=ruleset.tip_rows, limits=bound_limits(bound.checks),
        parameters=bound_parameters(bound.checks, ruleset),
    )  # fmt: skip


def delivery_facts(read: ReadDelivery) -> DeliveryFacts:
    """Return the facts of a delivery: file, digest, title, catalogue number and disc."""
    delivery = read.delivery
    disc = {} if delivery.disc is None else {"size": delivery.disc.size, "speed": delivery.disc.speed}
    return DeliveryFacts(
        file=read.file.name, sha256=read.sha256, title=delivery.title, catalogue=delivery.catalogue or "",
        disc=disc, notes=delivery.notes or "",
    )  # fmt: skip
