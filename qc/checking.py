"""One side after the other: measured, judged, advised on and, where a format draws, drawn; then the delivery."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from qc.beside import Beside
from qc.contract import CheckResult, Evidence, Need
from qc.delivery.reader import ReadDelivery
from qc.hooks.host import Host
from qc.judge.advising import advise
from qc.judge.bind import Bound
from qc.judge.context import Evidence as Known
from qc.judge.engine import judge_delivery, judge_side
from qc.judge.without_code import owners
from qc.measuring import Hearing, MeasuredSide, measure_side
from qc.report.model import Origin, PluginFailure, SideReport
from qc.ruleset.load import Ruleset

if TYPE_CHECKING:
    from qc.planning import Disc


@dataclass(frozen=True)
class Case:
    """What a delivery is judged by: its ruleset bound to the checks there are, and the papers that lie beside it."""

    read: ReadDelivery
    ruleset: Ruleset
    bound: Bound
    host: Host
    beside: Beside
    needs: tuple[type[Need[Any]], ...]
    lost: tuple[str, ...] = ()
    """checks the ruleset asks for that a plugin which did not load may have held"""
    discs: tuple[Disc, ...] = ()
    """discs to compare where a format draws"""

    @property
    def owner(self) -> Mapping[str, str]:
        """Who brought each check, by id."""
        return {**self.host.owner, **owners(self.ruleset)}


class Judging:
    """Gathers what became of a delivery, side by side."""

    def __init__(self, case: Case, how: Hearing, *, draws: bool) -> None:
        self.sides: list[SideReport] = []
        self.results: list[CheckResult] = []
        self.failures: list[PluginFailure] = list(case.host.failures)
        self.origins: dict[str, Origin] = {}
        self.shown = Evidence()
        self.undrawn: list[PluginFailure] = []
        """plugins that broke where only formats that draw ask them; the report is the same without"""
        self._case, self._how, self._draws = case, how, draws
        self._known: dict[str, Known] = {}

    def side(self, index: int, how: Hearing) -> None:
        """Measure and judge the side of this index."""
        case = self._case
        measured = measure_side(case.read, index, case.ruleset.chain, case.needs, case.bound, how)
        side = measured.report.id
        if measured.origin is not None:
            self.origins[side] = measured.origin
        results = self._judged(measured)
        looked = 0.0 if measured.excerpts is None else measured.excerpts.seconds
        self.sides.append(measured.report.model_copy(update={"second_look_s": looked}))
        self._known[f"side:{side}"] = measured.evidence
        if self._draws:
            from qc.drawn import draw  # nobody else's business

            self.shown, broken = draw(measured, results, case.discs, self.shown, how.patience)
            self.undrawn += broken_measures(broken, side, case.host)
        measured.forget()
        self.results += [*results, *(_not_run(check_id, side) for check_id in case.lost)]
        self.failures += broken_measures(measured.evidence.broken, side, case.host)

    def _judged(self, measured: MeasuredSide) -> list[CheckResult]:
        """Judge a side, then work out remedies from a second look."""
        case, patience = self._case, self._how.patience
        results, broken = judge_side(case.bound.checks, measured.evidence, case.owner, case.beside.waivers, patience)
        self.failures += broken
        measured.forget()
        if measured.excerpts is not None:
            results, broken = advise(
                case.bound.checks, results, measured.evidence, measured.excerpts, case.owner, patience
            )  # fmt: skip
            self.failures += broken
        return results

    def delivery(self) -> None:
        """Judge the delivery as a whole, once every side is."""
        case = self._case
        if self._how.store is not None:
            self._how.store.tidy()
        results, broken = judge_delivery(
            case.bound.checks, self._known, case.read.delivery.itself(), case.owner, case.beside.waivers,
            self._how.patience,
        )  # fmt: skip
        self.results += results
        self.failures += broken


def _not_run(check_id: str, side: str) -> CheckResult:
    reason = "the check is not there; a plugin did not load"
    return CheckResult(check=check_id, scope="side", side=side, outcome="error", reason=reason)


def broken_measures(broken: Mapping[type[Need[Any]], str], side: str, host: Host) -> Sequence[PluginFailure]:
    """Name each plugin whose measuring raised, also when nobody asked for the number."""
    return [
        PluginFailure(plugin=host.need_owner.get(need, "sidegate"), stage=need.id, message=why, side=side)
        for need, why in broken.items()
    ]
