"""What a delivery is judged beside: the waivers granted for it, and an earlier report to compare with."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from qc.delivery.model import Side
from qc.delivery.reader import ReadDelivery
from qc.intake.side_input import read_input
from qc.judge.waivers.loading import granted
from qc.judge.waivers.model import Waivers
from qc.model.report import AudioFacts, RulesetFacts
from qc.plugin_api import Check, Report
from qc.ruleset.load import Ruleset

if TYPE_CHECKING:
    from qc.judge.baseline.compare import Earlier


@dataclass(frozen=True)
class Papers:
    """Where the papers lie, and the day that is compared with the last days of waivers."""

    waivers: Path | None = None
    baseline: Path | None = None
    today: date | None = None
    own_waivers: bool = False
    """whether waivers in the delivery, which are its sender's, do not count"""


@dataclass(frozen=True)
class Beside:
    """The papers as they were read."""

    waivers: Waivers
    earlier: Earlier | None
    never_excused: frozenset[str] = frozenset()
    """ids of checks of the audio itself, which nothing can be waived of"""

    def compared(self, report: Report) -> Report:
        """Give a report with what became of the waivers, and compared with the earlier one where there is one."""
        report = report.model_copy(update={"waivers": self.waivers.facts()})
        if self.earlier is None:
            return report
        from qc.judge.baseline.compare import compared  # most runs have nothing to compare with

        return compared(report, self.earlier, self.never_excused)


def read_beside(
    read: ReadDelivery, sides: Sequence[Side], papers: Papers, ruleset: Ruleset, checks: Mapping[str, type[Check[Any]]],
    lost: Collection[str] = (),
) -> Beside:  # fmt: skip
    """Read the papers before anything is heard, and refuse those that do not fit.

    `sides` are those to be judged, `checks` those there are, `lost` ids of those that went with a plugin. Raises
    DeliveryError for waivers and UsageError for an earlier report, each one sentence.
    """
    headers: dict[str, AudioFacts] = {}

    def facts(side_id: str) -> AudioFacts:
        if side_id not in headers:
            headers[side_id] = read_input(read, read.delivery.side(side_id)).received.facts
        return headers[side_id]

    ids = [side.id for side in sides]
    waivers = granted(
        read, papers.waivers, papers.today, checks, lambda side_id: facts(side_id).duration_s, lost=lost, sides=ids,
        own_only=papers.own_waivers,
    )  # fmt: skip
    if papers.baseline is None:
        return Beside(waivers, None)
    from qc.judge.baseline.compare import Earlier, SideLayout, refuse_stale
    from qc.judge.baseline.earlier import read_baseline

    earlier = Earlier(read_baseline(papers.baseline), papers.baseline.name)
    layouts = {side.id: SideLayout.of(side.itself(), facts(side.id).channels) for side in sides}
    every_side = len(sides) == len(read.delivery.sides)
    rules = RulesetFacts(
        name=ruleset.name, version=ruleset.version, sha256=ruleset.sha256, chain=ruleset.chain_rows
    )  # fmt: skip
    refuse_stale(earlier, rules, layouts, every_side=every_side)
    return Beside(waivers, earlier, frozenset(id_ for id_, check in checks.items() if not check.waivable))
