"""What is engraved in the run-out: the catalogue number and the letter of the side, and between them what is agreed."""

from __future__ import annotations

from collections.abc import Iterable

from pydantic import Field

from qc import Check, CheckContext, Finding, Model, NotApplicableError, Pattern


class InscriptionLimits(Model):
    """It has no limits, and two parameters that a ruleset may set."""

    between: str = Field(default="-", description="What is written between the catalogue number and the side.")
    catalogue: Pattern = Field(default=Pattern("^[A-Z]{2}-[0-9]{3}$"), description="The form of a catalogue number.")


class InscriptionNotOurs(Check[InscriptionLimits]):
    """The inscription is not what this house would engrave."""

    id = "lowtide.inscription-not-ours"
    title = "The inscription is not written the house's way"
    why = "The plant sorts our lacquers by the inscription alone, and two ways of writing it have been mixed up before."
    how = (
        "It must be the catalogue number, what the ruleset sets between, and the id of the side, letter by letter: "
        "LT-014-A. The catalogue number itself must have the form that the ruleset sets."
    )
    remedy = "Correct the inscription in the delivery, or ask the label for a catalogue number."
    blind_to = "A catalogue number that is itself wrong."
    Limits = InscriptionLimits

    def evaluate(self, ctx: CheckContext) -> Iterable[Finding]:
        """Compare; raises NotApplicableError where there is no catalogue number to go by."""
        catalogue = ctx.delivery.get("catalogue")
        if not catalogue:
            raise NotApplicableError("the delivery has no catalogue number")
        if not self.limits.catalogue.matches(catalogue):
            message = f'The catalogue number "{catalogue}" has another form than {self.limits.catalogue}'
            yield ctx.found("warn", message, measured=str(catalogue), field=())
        wanted, written = f"{catalogue}{self.limits.between}{ctx.side}", ctx.declared.get("inscription")
        if written is None:
            message = f"No inscription is declared; this house engraves {wanted}"
            yield ctx.found("warn", message, measured="none", field=())
        elif written != wanted:
            message = f'The inscription is "{written}", and this house engraves {wanted}'
            yield ctx.found("fail", message, measured=str(written), field=("inscription",))
