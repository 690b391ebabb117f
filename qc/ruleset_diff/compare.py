"""Two rulesets compared for `sidegate rulesets diff`: put into the report's words, and applied to what was judged."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import qc
from qc.judge.yaml_checks import OPS
from qc.model.names import limit_key
from qc.model.parameters import parameter_type
from qc.model.quantity import Op
from qc.model.report import ExtendedFacts, Outcome
from qc.model.ruleset_diff import (
    ChainRow,
    CheckRow,
    Compared,
    LevelChangeRow,
    LimitRow,
    MeasureRow,
    OutcomeRow,
    ParameterRow,
    PolicyRow,
    Release,
    ReleaseReason,
    RequiresRow,
    RulesetDiff,
    RulesetName,
    WrittenLimit,
    WrittenParameter,
    WrittenValue,
)
from qc.plugin_base import CheckResult, Report
from qc.plugin_host.host import Host
from qc.ruleset.load import RawLimit, RawMeasure, RawParameter, Ruleset
from qc.ruleset_diff.delta import Differences, MeasureDifference, Ops, Same, compared
from qc.ruleset_diff.semver import keeps_its_word, kind_of, reasons, step

Outcomes = Mapping[tuple[str | None, str], Outcome]
"""Side (none: the delivery) and check -> outcome."""


def differences(before: Ruleset, after: Ruleset, host: Host) -> RulesetDiff:
    """Compare two rulesets by what they say."""
    found = compared(before, after, sides_of(host), same_value(host))
    return RulesetDiff(
        tool=f"sidegate {qc.__version__}",
        before=_named(before),
        after=_named(after),
        release=_release(before, after, found),
        chain=tuple(
            ChainRow(
                key=row.key, change="value" if row.value else "words",
                before=WrittenValue(**row.before), after=WrittenValue(**row.after),
            )
            for row in found.chain
        ),
        level=tuple(
            PolicyRow(
                key=row.key, moves=row.moves, before=WrittenValue(**row.before), after=WrittenValue(**row.after)
            )
            for row in found.level
        ),
        limits=tuple(
            LimitRow(limit=row.name, change=row.way, before=_written(row.before), after=_written(row.after))
            for row in found.limits
        ),
        parameters=tuple(
            ParameterRow(parameter=row.name, change=row.way, before=_set(row.before), after=_set(row.after))
            for row in found.parameters
        ),
        checks=tuple(CheckRow(check=row.check, change=row.way, reason=row.reason) for row in found.checks),
        measures=tuple(_measure(row) for row in found.measures),
        requires=tuple(RequiresRow(name=row.name, before=row.before, after=row.after) for row in found.requires),
    )  # fmt: skip


def sides_of(host: Host) -> Ops:
    """Return a function from check and limit key to the side of the limit on which a value must stay."""

    def op(check: str, key: str) -> Op | None:
        if check not in host.checks:
            return OPS.get(key)
        judges = host.checks[check].judges.items()
        return next((judged.op for name, judged in judges if limit_key(name) == key), None)

    return op


def same_value(host: Host) -> Same:
    """Return a function that compares two values of a parameter: by its type where its check is installed."""

    def same(check: str, key: str, before: str, after: str) -> bool:
        info = host.checks[check].Limits.model_fields.get(key) if check in host.checks else None
        of = None if info is None else parameter_type(info)
        try:
            return before == after or (of is not None and bool(of.read(before) == of.read(after)))
        except ValueError:  # of another type, which its own ruleset is refused for
            return False

    return same


def on_delivery(before: Report, after: Report) -> Compared:
    """Put together what became of a delivery that was judged by both."""
    earlier, later = outcomes(before.results), outcomes(after.results)
    levels = {side.id: side.levels for side in after.sides}
    return Compared(
        on="delivery",
        file=after.delivery.file,
        title=after.delivery.title,
        tool=after.tool,
        outcomes=tuple(
            OutcomeRow(check=check, side=side, before=earlier.get((side, check)), after=later.get((side, check)))
            for side, check in ordered(earlier, later)
        ),
        levels=tuple(
            LevelChangeRow(
                side=side.id,
                before=None if side.levels is None else side.levels.recommended,
                after=None if (other := levels.get(side.id)) is None else other.recommended,
            )
            for side in before.sides
        ),
        verdict_before=before.verdict,
        verdict_after=after.verdict,
        plugin_failures=tuple(dict.fromkeys([*before.plugin_failures, *after.plugin_failures])),
    )


def outcomes(results: Iterable[CheckResult]) -> dict[tuple[str | None, str], Outcome]:
    """Return the outcome of every check on every side."""
    return {(result.side, result.check): result.outcome for result in results}


def ordered(*several: Iterable[tuple[str | None, str]]) -> list[tuple[str | None, str]]:
    """Put sides and checks in order: side by side, what is about the delivery last."""
    places = dict.fromkeys(key for keys in several for key in keys)
    sides = list(dict.fromkeys(side for side, _ in places))
    return sorted(places, key=lambda key: (key[0] is None, sides.index(key[0]), key[1]))


def _named(ruleset: Ruleset) -> RulesetName:
    return RulesetName(
        name=ruleset.name, version=ruleset.version, sha256=ruleset.sha256, serves=" at ".join(ruleset.serves),
        extends=tuple(ExtendedFacts(**parent._asdict()) for parent in ruleset.extends),
    )  # fmt: skip


def _release(before: Ruleset, after: Ruleset, found: Differences) -> Release:
    kind = kind_of(found)
    promised = step(before.version, after.version) if before.name == after.name else None
    return Release(
        kind=kind,
        reasons=tuple(ReleaseReason(kind=reason.kind, says=reason.says) for reason in reasons(found)),
        promised=promised,
        keeps=None if promised is None else keeps_its_word(kind, promised),
    )


def _written(limit: RawLimit | None) -> WrittenLimit | None:
    if limit is None:
        return None
    return WrittenLimit(
        warn=limit.warn, fail=limit.fail, sets_level=limit.sets_level, source=limit.source, origin=limit.origin
    )


def _set(parameter: RawParameter | None) -> WrittenParameter | None:
    if parameter is None:
        return None
    return WrittenParameter(value=parameter.value, source=parameter.source, origin=parameter.origin)


def _measure(row: MeasureDifference) -> MeasureRow:
    if row.measure:
        return MeasureRow(check=row.check, change="measure", before=row.before.measure, after=row.after.measure)
    return MeasureRow(check=row.check, change="words", before=_words(row.before), after=_words(row.after))


def _words(raw: RawMeasure) -> str:
    return " ".join(part for part in (raw.title, raw.why, raw.remedy) if part)
