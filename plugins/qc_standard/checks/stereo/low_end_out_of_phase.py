"""Bass that pulls left and right apart."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import ClassVar

from qc.plugin_api import CheckContext, Excerpt, Finding, ForClient, Judged, Limit, LimitCheck, Model, NotMeasuredError
from qc.plugin_api.groove_model import AsCut
from qc_standard.advice import wide_bass
from qc_standard.stereo import LowCorrelation, least_where_deep

NEAR = 0.75
"""Part of the limit on the movement from which on the correlation counts, 2.5 dB below it (practice)."""


class LowEndOutOfPhaseLimits(Model):
    """Greatest vertical movement by the bass, and its least correlation: where it moves far, or anywhere.

    Rulesets before 3.0.0 limit the correlation anywhere, in `correlation`.
    """

    excursion: Limit
    correlation_where_deep: Limit | None = None
    correlation: Limit | None = None


class LowEndOutOfPhase(LimitCheck[LowEndOutOfPhaseLimits]):
    """The bass is so far out of phase that the groove is closed or driven deep."""

    id = "stereo.low-end-out-of-phase"
    title = "The low end is out of phase"
    why = (
        "Bass that differs between left and right moves the cutter up and down. The groove closes or "
        "digs deep, and the stylus may be thrown out of it."
    )
    how = (
        "Below 300 Hz: the greatest movement up or down at the judged level, and the correlation of "
        "left and right over the worst 10 s of programme, from +1 (the same) over 0 to -1 (opposite). Only 10 s in "
        "which the movement comes to three quarters of its own limit count; in rulesets before 3.0.0 all do."
    )
    remedy = "Make the bass mono below 150 Hz or so, look for a channel with its polarity swapped, or cut lower."
    client = ForClient(
        name="Low notes that work against each other",
        means=(
            "In the low notes the left and the right loudspeaker pull in opposite ways. On a record this throws the "
            "needle up and down, and it could jump out of the groove; played on a single loudspeaker, the low notes "
            "get thin."
        ),
        asks=(
            "Please have the low notes put in the middle, the same in both loudspeakers, and ask your engineer "
            "whether one of the two channels is the wrong way round."
        ),
    )
    blind_to = "Bass that is wide on purpose, and whether it is heard: only how far it moves the cutter counts."
    Limits = LowEndOutOfPhaseLimits
    judges: ClassVar[Mapping[str, Judged]] = {
        "excursion": Judged("groove.low_vertical_peak", "<=", "the vertical movement below 300 Hz"),
        "correlation_where_deep": Judged(
            "stereo.low_correlation", ">=", "the correlation below 300 Hz over the worst 10 s of wide movement"
        ),
        "correlation": Judged("stereo.low_correlation", ">=", "the correlation below 300 Hz over the worst 10 s"),
    }

    def evaluate(self, ctx: CheckContext) -> Iterable[Finding]:
        """Compare both limits; where a channel is silent there is no correlation, and only the movement is judged."""
        for key, judged in self.judges.items():
            limit: Limit | None = getattr(self.limits, key)
            try:
                if limit is None:
                    continue
                if key == "correlation_where_deep":
                    yield from self._where_deep(ctx, limit, judged)
                else:
                    yield from ctx.judge(judged.measure, limit, op=judged.op, of=judged.of)
            except NotMeasuredError:
                if key == "excursion":
                    raise

    def _where_deep(self, ctx: CheckContext, limit: Limit, judged: Judged) -> Iterable[Finding]:
        """Compare the least correlation of any 10 s in which the bass moves the cutter nearly too far."""
        ctx.measured(judged.measure)
        own = self.limits.excursion
        most = own.fail if own.warn is None else own.warn
        least = None if most is None else least_where_deep(ctx[LowCorrelation].along, ctx[AsCut], NEAR * most)
        if least is not None:
            for finding in ctx.hold(least, limit, op=judged.op, of=judged.of):
                yield finding.model_copy(update={"measure": judged.measure})

    def advise(self, finding: Finding, look: Excerpt) -> Finding:
        """Add the bass-mono corner that makes the passage fit, and its loss in dB."""
        return wide_bass.add_remedy(finding, look)
