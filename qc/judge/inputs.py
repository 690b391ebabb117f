"""Optional inputs of a run: waivers, approvals and a baseline report."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from qc.delivery.model import Side
from qc.delivery.reader import ReadDelivery
from qc.intake.side_input import read_input
from qc.judge.approvals import NO_APPROVALS, ReadApprovals, load_approvals
from qc.judge.waivers.loading import load_waivers
from qc.judge.waivers.model import Waivers
from qc.model.quantity import Quantity
from qc.model.report import AudioFacts, RulesetFacts
from qc.plugin_base import Check, Report
from qc.ruleset.load import Ruleset

if TYPE_CHECKING:
    from qc.judge.baseline.compare import Earlier


@dataclass(frozen=True)
class InputPaths:
    """Paths of the optional inputs, and the day on which waivers must be valid."""

    waivers: Path | None = None
    baseline: Path | None = None
    today: date | None = None
    own_waivers: bool = False
    """whether waivers written in the delivery, by its sender, are ignored"""
    approvals: Path | None = None
    """a file of approvals in addition to that in the delivery's folder"""


@dataclass(frozen=True)
class OptionalInputs:
    """The optional inputs of a run, read and validated."""

    waivers: Waivers
    earlier: Earlier | None
    never_excused: frozenset[str] = frozenset()
    """ids of checks of the audio itself, whose findings cannot be waived"""
    approvals: ReadApprovals = NO_APPROVALS

    def earlier_numbers(self, side_id: str) -> Mapping[str, Quantity]:
        """Return the measurements of a side in the baseline report; none without a baseline."""
        sides = () if self.earlier is None else self.earlier.report.sides
        return next((side.measurements for side in sides if side.id == side_id), {})

    def compared(self, report: Report) -> Report:
        """Return the report with the use of the waivers, the approvals, and what changed since the baseline."""
        report = self.approvals.added_to(report.model_copy(update={"waivers": self.waivers.facts()}))
        if self.earlier is None:
            return report
        from qc.judge.baseline.compare import compared  # imported late: most runs have no baseline

        return compared(report, self.earlier, self.never_excused)


def read_optional_inputs(
    read: ReadDelivery, sides: Sequence[Side], paths: InputPaths, ruleset: Ruleset,
    checks: Mapping[str, type[Check[Any]]], lost: Collection[str] = (),
) -> OptionalInputs:  # fmt: skip
    """Read and validate the optional inputs, before any audio is read.

    `sides` are the sides to judge, `checks` the existing checks, `lost` the ids of checks whose plugin did not load.
    Raises DeliveryError for waivers or approvals and UsageError for a baseline, each one sentence.
    """
    headers: dict[str, AudioFacts] = {}

    def facts(side_id: str) -> AudioFacts:
        if side_id not in headers:
            headers[side_id] = read_input(read, read.delivery.side(side_id)).received.facts
        return headers[side_id]

    ids = [side.id for side in sides]
    waivers = load_waivers(
        read, paths.waivers, paths.today, checks, lambda side_id: facts(side_id).duration_s, lost=lost, sides=ids,
        own_only=paths.own_waivers,
    )  # fmt: skip
    approvals = load_approvals(read, paths.approvals)
    if paths.baseline is None:
        return OptionalInputs(waivers, None, approvals=approvals)
    from qc.judge.baseline.compare import Earlier, SideLayout, refuse_stale
    from qc.judge.baseline.earlier import read_baseline

    earlier = Earlier(read_baseline(paths.baseline), paths.baseline.name)
    layouts = {side.id: SideLayout.of(side.itself(), facts(side.id).channels) for side in sides}
    every_side = len(sides) == len(read.delivery.sides)
    rules = RulesetFacts(
        name=ruleset.name, version=ruleset.version, sha256=ruleset.sha256, chain=ruleset.chain_rows
    )  # fmt: skip
    refuse_stale(earlier, rules, layouts, every_side=every_side)
    never_excused = frozenset(id_ for id_, check in checks.items() if not check.waivable)
    return OptionalInputs(waivers, earlier, never_excused, approvals)
