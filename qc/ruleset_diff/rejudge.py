"""A stored report judged by another ruleset, as far as its numbers allow; the rest is listed with the reason.

Nothing is guessed. An outcome is said where nothing that the check sees differs; else where the check, judging again
by the report's numbers, looks for nothing else, the numbers stay under the other ruleset, and by the old ruleset it
says just what the report says.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from qc.groove.geometry.cut import MEASURES
from qc.groove.level.side_at_level import UNITS
from qc.judge.bind import Bound
from qc.judge.bound_limits import bound_limits
from qc.judge.engine import verdict
from qc.model.cutting_chain import Chain
from qc.model.errors import FAULTS, UsageError
from qc.model.report import HeldLimit, Limit, SideReport
from qc.model.ruleset_diff import Compared, LevelChangeRow, OutcomeRow, Unsaid
from qc.plugin_base import Check, CheckResult, Derived, GrooveDerived, Need, Report
from qc.plugin_host.runner import Runner
from qc.ruleset.level import policy_in
from qc.ruleset.load import Ruleset, chain_of
from qc.ruleset.model import ChainEntry
from qc.ruleset_diff.compare import ordered
from qc.ruleset_diff.rejudged import Rejudged, rejudged

OF_LEVELS = (
    "groove.recommended_level", "groove.edge_level", "groove.clean_level", "groove.level_over_recommended",
)  # fmt: skip
"""Measurements that go with the limits, whatever level a side is judged at."""
PLACES = (
    "a report holds each number once, at its worst; where else a limit that differs would be broken takes the audio"
)


@dataclass(frozen=True)
class BoundRuleset:
    """One of the two rulesets, with its checks."""

    ruleset: Ruleset
    bound: Bound

    @cached_property
    def checks(self) -> Mapping[str, Check[Any]]:
        """The checks by id."""
        return {check.id: check for check in self.bound.checks}


class Rejudging:
    """A report by one ruleset, looked at by another."""

    def __init__(
        self,
        report: Report,
        before: BoundRuleset,
        after: BoundRuleset,
        publishers: Mapping[str, type[Need[Any]]],
        runner: Runner,
    ) -> None:
        """Take a report; raises UsageError when it was not judged by `before`. `publishers` are those of numbers."""
        _is_by(report, before.ruleset)
        self.report, self.before, self.after = report, before, after
        self._publishers, self._runner = publishers, runner
        self._chain = _chain_of(report, before.ruleset)
        self._rechained = _differing(report, before.ruleset, after.ruleset)
        limits = bound_limits(after.bound.checks)
        self._relevelled = ""
        """why sides may be recommended another level; empty where they are not"""
        if policy_in(report.ruleset.level).tenths != after.bound.policy.tenths:
            self._relevelled = "the policies for the recommended level differ"
        if _setting(report.ruleset.limits) != _setting(limits):
            self._relevelled = "limits that set the level differ"
        self._rewarned = _warning(report.ruleset.limits) != _warning(limits)

    def compared(self, file: str) -> Compared:
        """Return the outcomes that stay and change, and those that the report does not suffice for."""
        by_place = {(result.side, result.check): result for result in self.report.results}
        sides = {side.id: side for side in self.report.sides}
        wanted = [
            (None if check.scope == "delivery" else side, check.id)
            for side in sides
            for check in self.after.bound.checks
        ]
        rows: list[OutcomeRow] = []
        unsaid: list[Unsaid] = []
        results: list[CheckResult] = []
        for side_id, check_id in ordered(by_place, wanted):
            result = by_place.get((side_id, check_id))
            before = None if result is None else result.outcome
            found = self._after(check_id, None if side_id is None else sides[side_id], result)
            if isinstance(found, str):
                unsaid.append(Unsaid(what=check_id, side=side_id, why=found))
            else:
                results += [] if found is None else [found]
                after = None if found is None else found.outcome
                rows.append(OutcomeRow(check=check_id, side=side_id, before=before, after=after))
        levels, moving = self._levels()
        return Compared(
            on="report",
            file=file,
            title=self.report.delivery.title,
            tool=self.report.tool,
            outcomes=tuple(rows),
            levels=levels,
            unsaid=(*unsaid, *moving, Unsaid(what="places of findings", side=None, why=PLACES)),
            verdict_before=self.report.verdict,
            verdict_after=None if unsaid else verdict(results, self.report.plugin_failures),
        )

    def _after(self, check_id: str, side: SideReport | None, result: CheckResult | None) -> CheckResult | str | None:
        """Return the result by the other ruleset (None: it does not judge this), or the reason why it is unclear."""
        check = self.after.checks.get(check_id)
        if check is None:
            return None
        old = self.before.checks.get(check_id)
        again = rejudged(check, self.report, side, self.after.ruleset.chain, self._runner)
        if result is not None and old is not None and self._sees_the_same(old, check, side, again):
            return result
        earlier = None if result is None or old is None else rejudged(old, self.report, side, self._chain, self._runner)
        waived = self._waived(check_id, result)
        why = (
            self._unsure(again, side)
            or ("" if check.judges or again.numbers else "it is compared with no number of the report")
            or self._missing(again, earlier, side)
            or _not_as_reported(result, earlier, waived=waived)
        )
        if not why and waived and again.result.outcome in {"warn", "fail"}:
            why = "part of what it finds is waived, and where it would find what cannot be said"
        return why or again.result

    def _sees_the_same(self, old: Check[Any], new: Check[Any], side: SideReport | None, again: Rejudged) -> bool:
        """Whether nothing differs that a check might see: its limits, the chain, the level and its causes."""
        sides = self.report.sides if side is None else (side,)
        if _values(old) != _values(new) or self._rechained or any(self._moves(side) for side in sides):
            return False
        of_limits = self._relevelled or self._rewarned
        return not (of_limits and (again.beyond or again.numbers & set(OF_LEVELS)))

    def _moves(self, side: SideReport) -> bool:
        """Whether the side would be judged at another level."""
        levels = side.levels
        if levels is None:
            return False
        fixed = levels.declared is not None if levels.basis is None else levels.basis in {"requested", "given"}
        return not fixed and bool(self._relevelled or self._rechained)

    def _unsure(self, again: Rejudged, side: SideReport | None) -> str:
        """Return the reason why a check cannot be judged by the report; empty when it can."""
        if again.broke:
            return f"the check broke: {again.broke}"
        if again.beyond:
            return f"it takes {', '.join(sorted(again.beyond))}, which no report holds"
        sides = self.report.sides if side is None else (side,)
        found = (self._stale(name, side) for side in sides for name in sorted(again.numbers))
        return next((why for why in found if why), "")

    def _stale(self, name: str, side: SideReport) -> str:
        """Return the reason why a number would be another under the other ruleset; empty when it stays."""
        need = self._publishers.get(name)
        of_groove = name in UNITS or (need is not None and issubclass(need, GrooveDerived))
        if self._rechained and (of_groove or (need is not None and self._differ(need))):
            return f"{name} depends on the chain, of which {', '.join(self._rechained)} differs"
        if not of_groove:
            return ""
        if self._moves(side):
            return f"{name} depends on the level, and {self._relevelled}"
        if name in OF_LEVELS and (self._relevelled or (name == "groove.clean_level" and self._rewarned)):
            return f"{name} depends on limits that differ"
        return ""

    def _differ(self, need: type[Need[Any]]) -> bool:
        """Whether a need differs between the two chains; one that raises or times out may."""
        try:
            return self._runner(_of_two_chains, need, self._chain, self.after.ruleset.chain)
        except FAULTS:
            return True

    def _missing(self, again: Rejudged, earlier: Rejudged | None, side: SideReport | None) -> str:
        """Name the numbers that the report lacks, but for those that the old ruleset asked for in vain too."""
        sides = self.report.sides if side is None else (side,)
        asked = again.numbers - (frozenset() if earlier is None else earlier.numbers)
        lacking = sorted({name for name in asked for side in sides if name not in side.measurements})
        return f"the report holds no {', '.join(lacking)}" if lacking else ""

    def _waived(self, check_id: str, result: CheckResult | None) -> bool:
        """Whether a finding of a check is waived, anywhere."""
        of_it = any(waiver.check == check_id and waiver.state != "not_counted" for waiver in self.report.waivers)
        return of_it or (
            result is not None and (result.outcome == "waived" or any(found.waived_by for found in result.findings))
        )

    def _levels(self) -> tuple[tuple[LevelChangeRow, ...], tuple[Unsaid, ...]]:
        rows, unsaid = [], []
        why = self._relevelled
        if self._rechained:
            why = f"it depends on the chain, of which {', '.join(self._rechained)} differs"
        for side in self.report.sides:
            recommended = None if side.levels is None else side.levels.recommended
            if why and recommended is not None:
                unsaid.append(Unsaid(what="recommended level", side=side.id, why=why))
            else:
                rows.append(LevelChangeRow(side=side.id, before=recommended, after=recommended))
        return tuple(rows), tuple(unsaid)


def _is_by(report: Report, ruleset: Ruleset) -> None:
    judging = report.ruleset
    if (judging.name, judging.version) != (ruleset.name, ruleset.version):
        raise UsageError(
            f"--on: the report was judged by {judging.name}@{judging.version}, and not by {ruleset.full_name}; name "
            "the ruleset that judged it first"
        )
    if judging.sha256 != ruleset.sha256:
        raise UsageError(
            f"--on: the report was judged by another {ruleset.full_name} than the one that is here (SHA-256 "
            f"{judging.sha256[:16]}, and here {ruleset.sha256[:16]}); find that one, or judge the delivery anew"
        )


def _chain_of(report: Report, ruleset: Ruleset) -> Chain:
    """Return the chain that a report assumed, as far as it was changed for its run."""
    rows = {
        section: {name: {"value": row["value"], "source": row["source"]} for name, row in part.items()}
        for section, part in report.ruleset.chain.items()
    }
    return chain_of(ChainEntry.model_validate(rows), *ruleset.serves)


def _differing(report: Report, before: Ruleset, after: Ruleset) -> tuple[str, ...]:
    """Name the values of the chain that the report did not assume as the other ruleset does."""
    mine, theirs = _chain_of(report, after), after.chain
    differ = [
        f"{section}.{name}"
        for section, part in after.chain_rows.items()
        for name in part
        if getattr(getattr(mine, section), name) != getattr(getattr(theirs, section), name)
    ]
    return tuple(["serves"] * (before.serves != after.serves) + differ)


def _setting(limits: Mapping[str, HeldLimit]) -> set[tuple[object, ...]]:
    """Return what the level search looks for: measurement, side, value."""
    return {
        (limit.measure, limit.op, getattr(limit, limit.sets_level), limit.unit)
        for limit in limits.values()
        if limit.sets_level is not None
    }


def _warning(limits: Mapping[str, HeldLimit]) -> set[tuple[object, ...]]:
    """Return what the clean level is searched by."""
    return {
        (limit.measure, limit.op, limit.warn, limit.unit)
        for limit in limits.values()
        if limit.warn is not None and (limit.measure in MEASURES or limit.sets_level)
    }


def _of_two_chains(need: type[Need[Any]], chain: Chain, other: Chain) -> bool:
    """Whether a need differs between two chains, by itself or in what it is derived from."""
    return bool(_reached(need.of(chain)) ^ _reached(need.of(other)))


def _reached(need: Need[Any]) -> set[Need[Any]]:
    inner = need.needs() if isinstance(need, Derived) else ()
    return {need, *(further for part in inner for further in _reached(part))}


def _not_as_reported(result: CheckResult | None, earlier: Rejudged | None, *, waived: bool) -> str:
    """Word the difference between the reported outcome and that of the numbers alone; empty where there is none."""
    if result is None:
        return ""
    if earlier is None:
        return "the report has it, and the first ruleset does not judge it"
    same = {result.outcome} | ({"warn", "fail"} if waived else set())
    if earlier.result.outcome in same:
        return ""
    return (
        f"by the report's numbers alone it was {earlier.result.outcome}, and the report says {result.outcome}: it "
        "judges by more than those"
    )


def _values(check: Check[Any]) -> Mapping[str, Any]:
    """Return the limits of a check, without where they come from, and the measurements that they are for."""
    limits = {key: getattr(check.limits, key) for key in type(check.limits).model_fields}
    plain = {
        key: limit.model_dump(exclude={"source", "origin"}) if isinstance(limit, Limit) else limit
        for key, limit in limits.items()
    }
    return {"limits": plain, "judges": dict(check.judges)}
