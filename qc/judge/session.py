"""Judge a delivery: disc by disc its sides are measured, judged, advised on and drawn; then the whole delivery."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from qc.delivery.model import Side
from qc.delivery.reader import ReadDelivery
from qc.groove.level.release import DiscDecision, JudgedLevel, LevelOption, SideLevels
from qc.groove.level.rows import LevelRow
from qc.groove.signal.programme import LOUDNESS, Programme
from qc.groove.signal.sector_envelopes import Sectors
from qc.judge.bind import Bound
from qc.judge.context import SideEvidence
from qc.judge.engine import CheckRunner, judge_delivery, judge_side
from qc.judge.explained import without_explained
from qc.judge.fixed import fixed
from qc.judge.inputs import OptionalInputs
from qc.judge.left_out import NO_FAILURES, Failures
from qc.judge.level import SearchedSide, closure, search_levels
from qc.judge.remedies import advise
from qc.judge.side_report import disc_level
from qc.judge.waivers.model import Waivers
from qc.judge.yaml_checks import owners
from qc.measure.side import MeasureOptions, measure_side
from qc.model.report import DiscLevel, Origin, PluginFailure, SideReport
from qc.plugin_base import Check, CheckResult, Evidence, GrooveDerived, Need, Scope
from qc.plugin_host.host import Host
from qc.plugin_host.names import PROJECT
from qc.ruleset.load import Ruleset

if TYPE_CHECKING:
    from qc.plan.discs import DiscToPlan


CORE: tuple[type[Need[Any]], ...] = (Programme, Sectors)
"""Needs of the groove itself; plugins add the others."""


def needs_of_levels(installed: Sequence[type[Need[Any]]], rows: Sequence[LevelRow]) -> tuple[type[Need[Any]], ...]:
    """Return the needs of the level search: those of the groove, of the loudness, and of limits that set the level."""
    setting = {row.measure for row in rows if row.sets_level}
    further = [
        need
        for need in installed
        if LOUDNESS in need.publishes or (issubclass(need, GrooveDerived) and setting & set(need.publishes))
    ]
    return (*CORE, *further)


@dataclass(frozen=True)
class PreparedRun:
    """Inputs of a run: the delivery, its ruleset bound to the checks, the plugins and the optional inputs."""

    read: ReadDelivery
    ruleset: Ruleset
    bound: Bound
    host: Host
    inputs: OptionalInputs
    needs: tuple[type[Need[Any]], ...]
    lost: Mapping[str, str] = field(default_factory=dict)
    """checks of the ruleset that cannot run because a plugin did not load, by id with the reason"""
    failures: Failures = NO_FAILURES
    """plugin failures before the run"""
    discs: tuple[DiscToPlan, ...] = ()
    """discs to compare, for formats that draw"""
    level: LevelOption | None = None
    """level of all sides in place of their requested and release levels"""

    @property
    def runner(self) -> CheckRunner:
        """The runner of the checks, with the ruleset as the owner of the checks it defines."""
        return CheckRunner({**self.host.owner, **owners(self.ruleset)}, self.host.runner)


class DeliveryJudging:
    """Collects the reports and results of a delivery, disc by disc."""

    def __init__(self, case: PreparedRun, how: MeasureOptions, *, draws: bool) -> None:
        self.sides: list[SideReport] = []
        self.discs: list[DiscLevel] = []
        self.results: list[CheckResult] = []
        self.failures: list[PluginFailure] = [*case.failures.needed, *case.runner.failures(case.bound.broken)]
        self.origins: dict[str, Origin] = {}
        self.shown = Evidence()
        self.undrawn: list[PluginFailure] = []
        """plugins that failed while drawing, which does not change the report"""
        self._case, self._how, self._draws = case, how, draws
        self._evidence: dict[str, SideEvidence] = {}
        self._at_recommended: dict[str, Callable[[], SideEvidence]] = {}
        """source -> evidence at the recommended level, of sides that are judged at a higher one"""

    def disc(
        self, sides: Sequence[tuple[int, Side]], chosen: Collection[str], options: Callable[[str], MeasureOptions]
    ) -> None:
        """Measure the sides of one disc, decide the level of each, and judge those that were chosen.

        Free sides that were not chosen are measured too, for the release level only. `options` returns the options of
        measuring by side id.
        """
        judged = [side.id for _, side in sides if side.id in chosen]
        if not judged:
            return
        searched, disc = self.decided(sides, chosen, options, whole=True)
        if (row := disc_level(disc, judged)) is not None:
            self.discs.append(row)
        for side_id in judged:
            self._side(searched[side_id], disc.level_of(searched[side_id].levels))

    def decided(
        self, sides: Sequence[tuple[int, Side]], chosen: Collection[str], options: Callable[[str], MeasureOptions], *,
        whole: bool,
    ) -> tuple[dict[str, SearchedSide], DiscDecision]:  # fmt: skip
        """Measure the chosen sides of one disc and those that its release level needs; decide the level of each.

        With `whole` the chosen sides are measured with the needs of all checks, else with those of the levels.
        """
        case, each = self._case, self._case.read.delivery.levels == "each"
        disc = DiscDecision(tuple(SideLevels(side.id, side.cut_level) for _, side in sides), case.level, each)
        searched: dict[str, SearchedSide] = {}
        for index, side in sides:
            if side.id in chosen or (disc.shared and disc.is_free(side.cut_level)):
                searched[side.id] = self._searched(index, options(side.id), whole=whole and side.id in chosen)
        levels = tuple(searched[side.side].levels if side.side in searched else side for side in disc.sides)
        return searched, replace(disc, sides=levels)

    def _searched(self, index: int, how: MeasureOptions, *, whole: bool) -> SearchedSide:
        """Measure a side and search its levels, with all needs or only with those of the level search."""
        case = self._case
        chain = case.ruleset.chain
        needs = closure(case.needs, case.bound) if whole else needs_of_levels(case.needs, case.bound.rows)
        measurement = measure_side(case.read, index, chain, needs, how)
        searched = search_levels(case.read, index, measurement, chain, case.bound, how)
        searched = replace(searched, earlier=case.inputs.earlier_numbers(searched.id))
        searched.forget()
        if measurement.origin is not None:
            self.origins[searched.id] = measurement.origin
        if not whole:
            searched.keep()
            self.failures += broken_measures(searched.broken, searched.id, case.host)
        return searched

    def _side(self, searched: SearchedSide, level: JudgedLevel | None) -> None:
        """Judge a side at a level, then compute remedies and pictures from a second look."""
        case, side = self._case, searched.id
        excerpts = searched.measurement.excerpts
        report, evidence = searched.at(level, self._how.workers)
        results, better = self._judged(searched, evidence)
        report = report.model_copy(update={"second_look_s": 0.0 if excerpts is None else excerpts.seconds})
        self.sides.append(_with_fixed(report, better))
        self._evidence[f"side:{side}"] = evidence
        if self._draws:
            from qc.judge.figures import draw  # imported late: only formats that draw need it

            drawn = searched.apart()
            self.shown, broken = draw(
                evidence, excerpts, results, case.discs, self.shown, case.host.runner, drawn.outside
            )
            compared = {need: why for need, why in drawn.broken.items() if need not in searched.broken}
            self.undrawn += broken_measures({**compared, **broken}, side, case.host)
        searched.forget()
        self.results += [*results, *(_not_run(check_id, side, why) for check_id, why in case.lost.items())]
        self.results += self._broken("side", side)
        self.failures += broken_measures(searched.broken, side, case.host)

    def _judged(
        self, searched: SearchedSide, evidence: SideEvidence
    ) -> tuple[list[CheckResult], tuple[str, ...] | None]:  # fmt: skip
        """Judge a side, and its failing checks also at a lower recommended level; then add remedies."""
        case, runner, better = self._case, self._case.runner, None
        results, broken = judge_side(case.bound.checks, evidence, runner, case.inputs.waivers)
        self.failures += broken
        if (softer := searched.at_recommended(evidence)) is not None:
            self._at_recommended[f"side:{searched.id}"] = softer
            better = fixed(
                case.bound.checks, results,
                lambda checks: judge_side(checks, softer(), runner, case.inputs.waivers.anew()),
            )  # fmt: skip
        searched.forget()
        if (excerpts := searched.measurement.excerpts) is not None:
            results, broken = advise(case.bound.checks, results, evidence, excerpts, runner)
            self.failures += broken
        return results, better

    def _broken(self, scope: Scope, side: str | None) -> list[CheckResult]:
        """Return the results of a scope's checks that could not be bound; each has failed once, for all sides."""
        return [
            CheckResult(check=check_id, scope=scope, side=side, outcome="error", reason=why)
            for check_id, why in self._case.bound.broken.items()
            if (self._case.host.checks[check_id].scope == "delivery") == (scope == "delivery")
        ]

    def delivery(self) -> None:
        """Judge the whole delivery, after all sides."""
        case = self._case
        if self._how.store is not None:
            self._how.store.tidy()
        results, broken = self._whole(case.bound.checks, self._evidence, case.inputs.waivers)
        self.results += [*results, *self._broken("delivery", None)]
        self.results = without_explained(self.results, case.bound.checks)
        self.failures += broken
        self.sides = [self._with_delivery(side, results) for side in self.sides]

    def _whole(
        self, checks: Sequence[Check[Any]], sides: Mapping[str, SideEvidence], waivers: Waivers
    ) -> tuple[list[CheckResult], list[PluginFailure]]:  # fmt: skip
        case = self._case
        return judge_delivery(checks, sides, case.read.delivery.itself(), case.runner, waivers, case.read.line)

    def _with_delivery(self, side: SideReport, results: Sequence[CheckResult]) -> SideReport:
        """Add to a side the checks of the delivery that its recommended level fixes."""
        source = f"side:{side.id}"
        softer = self._at_recommended.get(source)
        if softer is None or side.levels is None:
            return side
        anew = self._case.inputs.waivers.anew()
        more = fixed(
            self._case.bound.checks, results,
            lambda checks: self._whole(checks, {**self._evidence, source: softer()}, anew),
        )  # fmt: skip
        return _with_fixed(side, (*(side.levels.fixed_at_recommended or ()), *more))


def _with_fixed(side: SideReport, checks: tuple[str, ...] | None) -> SideReport:
    """Return a side with the checks that its recommended level fixes; None where it is judged at no higher level."""
    if side.levels is None or checks is None:
        return side
    return side.model_copy(update={"levels": side.levels.model_copy(update={"fixed_at_recommended": checks})})


def _not_run(check_id: str, side: str, reason: str) -> CheckResult:
    return CheckResult(check=check_id, scope="side", side=side, outcome="error", reason=reason)


def broken_measures(broken: Mapping[type[Need[Any]], str], side: str, host: Host) -> Sequence[PluginFailure]:
    """Return the failures of measuring with their plugins, also of numbers that no check reads."""
    return [
        PluginFailure(plugin=_owner(need, host), stage=need.id, message=why, side=side) for need, why in broken.items()
    ]


def _owner(need: type[Need[Any]], host: Host) -> str:
    """Return the plugin that brings a need, or that has the first check to name it; "sidegate" for one of the core."""
    if need.__module__.partition(".")[0] == "qc":
        return PROJECT
    asking = (host.owner[check.id] for check in host.checks.values() if need in check.needs)
    return host.need_owner.get(need) or next(asking, PROJECT)
