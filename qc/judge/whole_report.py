"""The report of a delivery, put together from what was judged."""

from __future__ import annotations

import qc
from qc.delivery.reader import ReadDelivery
from qc.judge.bind import Bound
from qc.judge.engine import verdict
from qc.judge.held import held
from qc.judge.level_option import level_words
from qc.judge.session import DeliveryJudging, PreparedRun
from qc.model.cautions import CAUTIONS
from qc.model.report import DeliveryFacts, ExtendedFacts, Report, RulesetFacts
from qc.plugin_host.host import Host
from qc.ruleset.load import Ruleset


def whole_report(case: PreparedRun, judging: DeliveryJudging) -> Report:
    """Put together the report of a delivery that was judged; who ran it when is added by the caller."""
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
        verdict=verdict(results, failures),
        cautions=CAUTIONS,
    )


def plugin_names(host: Host) -> tuple[str, ...]:
    """Name every plugin that loaded, with its package and version."""
    return tuple(f"{p.name} ({p.package} {p.version})" for p in host.plugins if p.error is None)


def ruleset_facts(ruleset: Ruleset, bound: Bound) -> RulesetFacts:
    """Describe a ruleset: its version and digest, what it extends, its chain and its limits as they were bound."""
    extends = tuple(ExtendedFacts(**one._asdict()) for one in ruleset.extends)
    return RulesetFacts(
        name=ruleset.name, version=ruleset.version, sha256=ruleset.sha256, extends=extends, chain=ruleset.chain_rows,
        level=ruleset.level_rows, limits=held(bound.checks),
    )  # fmt: skip


def delivery_facts(read: ReadDelivery) -> DeliveryFacts:
    """Describe a delivery: its file with its digest, title, catalogue number and disc."""
    delivery = read.delivery
    disc = {} if delivery.disc is None else {"size": delivery.disc.size, "speed": delivery.disc.speed}
    return DeliveryFacts(
        file=read.file.name, sha256=read.sha256, title=delivery.title, catalogue=delivery.catalogue or "",
        disc=disc, notes=delivery.notes or "",
    )  # fmt: skip
