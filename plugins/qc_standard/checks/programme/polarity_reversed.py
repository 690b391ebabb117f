"""A channel whose polarity is reversed."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import ClassVar

from qc.plugin_api import (
    CheckContext,
    Finding,
    ForClient,
    Judged,
    Limit,
    LimitCheck,
    Model,
    Need,
    NotApplicableError,
    Quantity,
)
from qc_standard.relation import Passage, Relation, RelationResult, passages

OPPOSITE = -0.1
"""Correlation above 300 Hz below which what lies above the bass is opposite, not merely unrelated (practice)."""


class PolarityReversedLimits(Model):
    """Least correlation of the channels over a side or track."""

    correlation: Limit


class PolarityReversed(LimitCheck[PolarityReversedLimits]):
    """Left and right work against each other over a whole side or track."""

    id = "programme.polarity-reversed"
    title = "A channel has its polarity reversed"
    why = (
        "With one channel turned round, what should be in the middle moves the cutter up and down instead of sideways, "
        "takes room and depth, and vanishes when played in mono."
    )
    how = (
        "Correlation of left and right without direct current over the programme of the side and of each track: +1 is "
        "the same, 0 unrelated, -1 opposite. Judged only where what lies above 300 Hz is 5 % of the energy or more, "
        "and correlates below -0.1 too."
    )
    remedy = "Look for a swapped pair of wires or a polarity switch, and ask for the master with both channels alike."
    client = ForClient(
        name="Left and right pull against each other",
        means=(
            "The left and the right loudspeaker move in opposite ways here, as if one were wired the other way round. "
            "Voices lose their place, and on a single loudspeaker the music nearly vanishes."
        ),
        asks="Please ask your engineer whether one of the two channels is turned round, and send us a new file.",
    )
    blind_to = (
        "A reversed channel of very wide music, whose correlation is near 0 either way, and a single instrument that "
        "is reversed. Music that is nearly all bass: it has a check of its own."
    )
    needs: ClassVar[tuple[type[Need[RelationResult]], ...]] = (Relation,)
    Limits = PolarityReversedLimits
    judges: ClassVar[Mapping[str, Judged]] = {
        "correlation": Judged("stereo.correlation", ">=", "the correlation of the channels"),
    }

    def evaluate(self, ctx: CheckContext) -> Iterable[Finding]:
        """Judge each track, and the side where no track was found; bass alone has stereo.low-end-out-of-phase."""
        relation = ctx[Relation]
        found: list[Finding] = []
        for passage in passages(ctx, relation):
            energies = relation.over(passage.parts)
            value = None if energies is None else energies.correlation()
            if value is None or passage.track is None or not _above_bass_too(relation, passage):
                continue
            quantity = Quantity(value=value, unit="1", at=relation.place(passage.parts, passage.track))
            of = f"the correlation of the channels on {passage.name}"
            found += ctx.hold(quantity, self.limits.correlation, op=">=", of=of)
        yield from found
        side = next(passages(ctx, relation))
        if found:
            return
        opposite = list(super().evaluate(ctx))
        if _above_bass_too(relation, side):
            yield from opposite
        elif opposite and relation.above_bass(side.parts) is None:
            raise NotApplicableError("too little lies above the bass to tell a reversed channel from opposite bass")


def _above_bass_too(relation: RelationResult, passage: Passage) -> bool:
    """Whether what lies above the bass is opposite as well, as it is where a whole channel is reversed."""
    correlation = relation.above_bass(passage.parts)
    return correlation is not None and correlation < OPPOSITE
