"""What is engraved in the run-out: this house writes the catalogue number, a hyphen, and the letter of the side."""

from __future__ import annotations

from collections.abc import Iterable

from qc import Check, CheckContext, Finding, Model
from qc.model.errors import NotApplicableError


class InscriptionLimits(Model):
    """It has no limits: it is the house's pattern, or it is not."""


class InscriptionNotOurs(Check[InscriptionLimits]):
    """The inscription is not what this house would engrave."""

    id = "lowtide.inscription-not-ours"
    title = "The inscription is not written the house's way"
    why = "The plant sorts our lacquers by the inscription alone, and two ways of writing it have been mixed up before."
    how = "It must be the catalogue number, a hyphen and the id of the side, letter by letter: LT-014-A."
    remedy = "Correct the inscription in the delivery, or ask the label for a catalogue number."
    blind_to = "A catalogue number that is itself wrong."
    Limits = InscriptionLimits

    def evaluate(self, ctx: CheckContext) -> Iterable[Finding]:
        """Compare; raises NotApplicableError where there is no catalogue number to go by."""
        catalogue = ctx.delivery.get("catalogue")
        if not catalogue:
            raise NotApplicableError("the delivery has no catalogue number")
        wanted, written = f"{catalogue}-{ctx.side}", ctx.declared.get("inscription")
        if written is None:
            message = f"No inscription is declared; this house engraves {wanted}"
            yield ctx.found("warn", message, measured="none", field=())
        elif written != wanted:
            message = f'The inscription is "{written}", and this house engraves {wanted}'
            yield ctx.found("fail", message, measured=str(written), field=("inscription",))
