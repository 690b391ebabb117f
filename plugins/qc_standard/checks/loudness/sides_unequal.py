"""The loudness of the sides compared with each other."""

from __future__ import annotations

from collections.abc import Iterable
from typing import ClassVar

from qc.plugin_api import (
    Check,
    CheckContext,
    Finding,
    ForClient,
    Model,
    NotApplicableError,
    NotMeasuredError,
    Quantity,
    Scope,
)
from qc_standard.own_limits import MostLoudnessUnits


class SidesUnequalLimits(Model):
    """Greatest difference in loudness between two sides."""

    difference: MostLoudnessUnits


class SidesUnequal(Check[SidesUnequalLimits]):
    """The sides of one delivery are not equally loud."""

    id = "loudness.sides-unequal"
    title = "The sides are not equally loud"
    why = (
        "Who turns the record over should not have to reach for the volume. A side that stands apart was often "
        "mastered on another day, or exported at another level."
    )
    how = "Loudness of each side in LUFS; the loudest less the quietest. The place given is the quietest side."
    remedy = "Ask whether the difference is meant; if not, have the sides brought to one level."
    client = ForClient(
        name="Sides that are not equally loud",
        means=(
            "Whoever turns the record over would have to reach for the volume. Often such sides were finished on "
            "different days."
        ),
        asks=(
            "Please tell us whether it is meant so. If not, have the sides brought to one loudness, or tell us that "
            "we may do it."
        ),
    )
    blind_to = "The level each side is cut at: the report gives it beside this one."
    scope: ClassVar[Scope] = "delivery"
    Limits = SidesUnequalLimits

    def evaluate(self, ctx: CheckContext) -> Iterable[Finding]:
        """Compare the loudest side with the quietest; raises NotApplicableError where there is only one."""
        if len(ctx.sources) < 2:
            raise NotApplicableError("there is only one side to judge")
        levels: dict[str, float] = {}
        for source in ctx.sources:
            try:
                loudness = ctx.of(source).measured("loudness.integrated")
            except NotMeasuredError:
                continue
            if loudness.bound is None:
                levels[source] = loudness.value
        if len(levels) < 2:
            raise NotMeasuredError("fewer than two sides have a loudness")
        loudest, quietest = max(levels, key=levels.__getitem__), min(levels, key=levels.__getitem__)
        quiet = ctx.of(quietest)
        apart = Quantity(value=levels[loudest] - levels[quietest], unit="LU")
        of = (
            f"the difference between side {ctx.of(loudest).side} at {levels[loudest]:.1f} LUFS and side {quiet.side} "
            f"at {levels[quietest]:.1f} LUFS"
        )
        yield from quiet.hold(apart, self.limits.difference, op="<=", of=of)
