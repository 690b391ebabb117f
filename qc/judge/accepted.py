"""Validation of the findings and quantities that checks of plugins return, before anything else reads them."""

from __future__ import annotations

from collections.abc import Collection

from qc.model.quantity import Quantity, is_unit, validated_copy
from qc.plugin_base import Finding
from qc.text.sanitize import shown

MOST = 1_000_000
"""Most findings that a check may return of one side."""
OF_THE_RUN = ("waived_by", "baseline")
"""Fields of a finding that the run fills, whatever a check wrote there."""


def accepted(found: object, check_id: str, sides: Collection[str]) -> Finding:
    """Return a finding of a check as a copy of its own, every value validated, however it was made.

    `sides` are those that it may lie on. Raises TypeError or ValueError for what no report can hold.
    """
    if type(found) is not Finding:
        raise TypeError(f"{check_id} gave a {type(found).__name__}, not a Finding")
    finding = validated_copy(Finding, found)
    if finding.check != check_id:
        raise ValueError(f'it gave a finding of "{shown(finding.check)}", which is another check')
    if finding.location.side not in sides:
        raise ValueError(f'it gave a finding on the side "{shown(finding.location.side)}", which it does not judge')
    quantities = [number for remedy in finding.remedies for number in remedy.numbers.values()]
    units = [quantity.unit for quantity in (finding.measured, *quantities) if isinstance(quantity, Quantity)]
    for unit in [*units, *([] if finding.limit is None else [finding.limit.unit])]:
        if not is_unit(unit):
            raise ValueError(f'it gave a finding in the unit "{shown(unit)}", which is not known')
    return finding.model_copy(update=dict.fromkeys(OF_THE_RUN))


def accepted_quantity(given: object, what: str) -> Quantity:
    """Return a quantity as a validated copy; raises TypeError, ValueError or a validation error."""
    if type(given) is not Quantity:
        raise TypeError(f"{what} is a {type(given).__name__}, not a Quantity")
    quantity = validated_copy(Quantity, given)
    if not is_unit(quantity.unit):
        raise ValueError(f'{what} has the unit "{shown(quantity.unit)}", which is not known')
    return quantity
