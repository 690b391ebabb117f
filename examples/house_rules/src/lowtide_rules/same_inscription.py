"""Two sides with one inscription: a rule about the delivery as a whole, which no side breaks by itself."""

from __future__ import annotations

from collections.abc import Iterable
from typing import ClassVar

from qc import Check, CheckContext, Finding, Model, NotApplicableError, Scope


class SameInscriptionLimits(Model):
    """It has no limits: two are the same, or they are not."""


class SameInscription(Check[SameInscriptionLimits]):
    """Two sides would be engraved alike."""

    id = "lowtide.same-inscription"
    title = "Two sides have one inscription"
    why = "The plant pairs our lacquers by what is engraved; two that are alike have been pressed as one disc."
    how = "The inscriptions of all sides, compared with each other, letters and digits only."
    remedy = "Correct the inscription of one of the two sides."
    scope: ClassVar[Scope] = "delivery"
    Limits = SameInscriptionLimits

    def evaluate(self, ctx: CheckContext) -> Iterable[Finding]:
        """Compare; raises NotApplicableError where fewer than two sides declare one."""
        declared = [(side, str(side.declared["inscription"])) for side in map(ctx.of, ctx.sources)
                    if "inscription" in side.declared]  # fmt: skip
        if len(declared) < 2:
            raise NotApplicableError("fewer than two sides declare an inscription")
        first: dict[str, str] = {}
        for side, written in declared:
            earlier = first.setdefault("".join(filter(str.isalnum, written)).casefold(), side.side)
            if earlier != side.side:
                message = f'"{written}" is engraved on side {earlier} too'
                yield side.found("fail", message, measured=written, field=("inscription",))
